"""A mill of a few tags for tests of reading."""

from __future__ import annotations

from pipeline.mill.export_layout import Exports
from pipeline.mill.units import UnitChange, signal_change

QUANTITIES = {
    "MJ.FI101": "flow", "LT.AI212": "ph", "SH.TI221": "temperature", "CT.LI231": "level",
    "EV.PI301": "steam_pressure", "LM.FI301": "lime_flow",
}  # fmt: skip


class Mill:
    """Zone, rules and tags, without a lake."""

    zone, ambiguous, missing = "UTC", "first", "shift_forward"

    @property
    def exports(self):
        return Exports()

    @property
    def unit_changes(self):
        return dict.fromkeys(QUANTITIES, UnitChange())

    def change_from(self, tag, unit):
        return signal_change(QUANTITIES[tag], unit)
