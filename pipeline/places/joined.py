"""Words of a name that belong together: a "tank" of "clear" juice is the clear juice tank.

What comes out is a set of concepts, most of them places or streams of the station. Common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

#: Concepts that become one, first that fits; what stands behind takes their place.
_JOINED: Final[tuple[tuple[frozenset[str], str], ...]] = tuple(
    (frozenset(together.split()), one)
    for together, one in (
        ("evaporator heater", "evaporator"),
        ("clear heater", "clear_heater"),
        ("tertiary heater", "clear_heater"),
        ("limed heater secondary", "secondary_heater"),
        ("limed heater primary", "primary_heater"),
        ("mixed heater secondary", "secondary_heater"),
        ("mixed heater", "primary_heater"),
        ("heater primary", "primary_heater"),
        ("heater secondary", "secondary_heater"),
        ("mixed primary_heater", "primary_heater"),
        ("limed secondary_heater", "secondary_heater"),
        ("limed heater", "secondary_heater"),
        ("main_steam steam", "main_steam"),
        ("heater main_steam", "heater steam"),
        ("secondary_heater main_steam", "secondary_heater steam"),
        ("evaporator primary", "first_evap"),
        ("evaporator secondary", "late_evap"),
        ("evaporator tertiary", "late_evap"),
        ("first_evap evaporator", "first_evap"),
        ("clear filtrate", "filtrate"),
        ("filter juice", "filtrate"),
        ("filter filtrate", "filtrate"),
        ("liming tank", "liming_tank"),
        ("limed tank", "liming_tank"),
        ("clear_tank tank", "clear_tank"),
        ("clear_tank clear", "clear_tank"),
        ("lime tank", "lime_tank"),
        ("lime liming_tank", "liming_tank"),
        ("clear tank", "clear_tank"),
        ("clear clear_heater", "clear_heater"),
        ("flash tank", "flash"),
        ("clarifier tank", "clarifier"),
        ("flocculant tank", "other_tank"),
        ("mud tank", "other_tank"),
        ("syrup tank", "other_tank"),
        ("water tank", "other_tank"),
        ("filtrate tank", "filtrate_tank"),
        ("mixed tank", "mixed_tank"),
        ("imbibition water", "imbibition"),
        ("imbibition mill", "imbibition"),
        ("cane mill", "cane"),
        ("juice primary", "first_juice"),
        ("first_juice mill", "first_juice"),
        ("filter mud", "mud"),
        ("clarifier mud", "mud clarifier"),
    )
)
#: Where juice is that goes into a part of the station.
_BEFORE: Final = {
    "primary_heater": "before_primary",
    "heater_1": "before_primary",
    "secondary_heater": "before_secondary",
    "heater_2": "before_secondary",
    "clear_heater": "before_clear_heater",
    "clarifier": "before_clarifier",
    "flash": "before_flash",
    "liming_tank": "before_liming",
    "evaporator": "before_evap",
    "first_evap": "before_evap",
}
#: Parts of the station to which a stream goes; the stream is then what counts.
_BEHIND: Final = frozenset(
    ("evaporator", "first_evap", "filter", "heater", "tank", "clear_heater", "clear_tank", "mill",
     "flash", "primary", "secondary", "liming", "mixed", "clear")
)  # fmt: skip
_STREAMS: Final = frozenset(("mixed", "limed", "clear", "mud", "filtrate", "juice", "syrup"))
_EVAPORATORS: Final = frozenset(("evaporator", "first_evap"))
_ROMAN: Final = {"i": "1", "ii": "2", "iii": "3", "iv": "4", "v": "5"}
_NUMBERED: Final = frozenset(("heater", "evaporator"))


def composed(
    concepts: Sequence[tuple[str, int]], tokens: Sequence[str], numbers: set[int]
) -> frozenset[str]:
    """Concepts of a name in order, each with its position, as one set with joined concepts.

    Parameters
    ----------
    concepts : sequence of (str, int)
    tokens : sequence of str
        Words and numbers of the name.
    numbers : set of int
        Positions of numbers.
    """
    kept = _without_goal([*concepts])
    found = {c for c, _ in kept}
    for concept, spot in kept:
        behind = tokens[spot + 1] if concept in _NUMBERED and spot + 1 < len(tokens) else ""
        if spot + 1 in numbers or behind in _ROMAN:
            found |= _numbered(concept, _ROMAN.get(behind, behind)) if behind else set()
    if "heater" in found and any(c.startswith("heater_") for c in found):
        found -= {"heater"}
        if "clear" in found:
            found = {c for c in found if not c.startswith("heater_")} - {"clear"} | {"clear_heater"}
    for together, one in _JOINED:
        if together <= found:
            found = (found - together) | set(one.split())
    return frozenset(_before(found) - {"to"})


def _before(found: set[str]) -> set[str]:
    """Juice at the inlet of one part is that which the part before it let go."""
    parts = [c for c in _BEFORE if c in found]
    if "in" not in found or len(parts) != 1 or "steam" in found:
        return found
    if parts == ["clarifier"] and "q_temp" not in found:
        return found
    return (found - {"in", parts[0]}) | {_BEFORE[parts[0]]}


def _without_goal(concepts: list[tuple[str, int]]) -> list[tuple[str, int]]:
    """Drop where a stream goes to; what goes to the clarifier goes into it."""
    at = next((n for n, (c, _) in enumerate(concepts) if c == "to"), None)
    if at is None or not any(c in _STREAMS for c, _ in concepts[:at]):
        return concepts
    before, behind = concepts[:at], concepts[at + 1 :]
    if any(c == "clarifier" for c, _ in behind):
        before = [*before, ("in", concepts[at][1])]
    if {c for c, _ in before} & _STREAMS == {"juice"} and _EVAPORATORS & {c for c, _ in behind}:
        before = [*before, ("before_evap", concepts[at][1])]
    return before + [c for c in behind if c[0] not in _BEHIND and c[0] != "juice"]


def _numbered(concept: str, number: str) -> set[str]:
    """Heater 1, 2 or 3; the first vessel of an evaporator, or a later one."""
    order = int(number[-2:]) if number[-2:].isdigit() else 0
    order = order or int(number)
    if concept == "heater":
        return {f"heater_{order}"} if 1 <= order <= 4 else set()
    return {"first_evap"} if order == 1 else {"late_evap"} if 2 <= order <= 9 else set()
