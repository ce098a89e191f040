"""A contract for the import linter: what lies inside a room is taken by nobody outside it.

A room is a package directly below one of the root packages. Others import names from the room
itself (``from pipeline.lake import Lake``), never from a module inside it.
"""

from __future__ import annotations

from typing import Any

from importlinter import Contract, ContractCheck, fields, output


class RoomsContract(Contract):
    """Fails on each import from outside a room of something inside it."""

    type_name = "rooms"

    roots = fields.ListField(subfield=fields.StringField())

    def check(self, graph: Any, verbose: bool) -> ContractCheck:
        """Look at every import of the graph."""
        rooms = {room for root in self.roots for room in graph.find_children(root)}
        breaches = sorted(
            (importer, inside)
            for room in rooms
            for inside in graph.find_descendants(room)
            for importer in graph.find_modules_that_directly_import(inside)
            if not f"{importer}.".startswith(f"{room}.")
        )
        # Inside its own room a module takes names from where they are made: else a circle.
        breaches += sorted(
            (inside, room)
            for room in rooms
            for inside in graph.find_descendants(room)
            if room in graph.find_modules_directly_imported_by(inside)
        )
        return ContractCheck(kept=not breaches, metadata={"breaches": breaches})

    def render_broken_contract(self, check: ContractCheck) -> None:
        """Say who takes what from where."""
        for importer, inside in check.metadata["breaches"]:
            output.print_error(f"{importer} imports {inside}: take the name from its room, or in")
            output.print_error("its own room from the module that makes it.")
