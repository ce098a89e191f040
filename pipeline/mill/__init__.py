"""A mill's description: read, checked, and in inside units."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.mill.changes import UnitChange
    from pipeline.mill.checks import zone_faults
    from pipeline.mill.description import Mill, load_mill
    from pipeline.mill.export_layout import ExportLayout, Exports
    from pipeline.mill.scales import Found, Scale
    from pipeline.mill.sections import MailSection, Weekday
    from pipeline.mill.sources import OpcUaSource, Source, SqlSource
    from pipeline.mill.units import basis_of_unit, is_unit, lab_change, signal_change
    from pipeline.mill.zones import offset_s
else:
    __getattr__ = handed_out(__name__, __file__)
