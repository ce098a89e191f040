"""A mill's description: read, checked, and in inside units."""

from pipeline.mill.checks import zone_faults
from pipeline.mill.description import Mill, load_mill
from pipeline.mill.sections import ExportLayout, Exports, MailSection
from pipeline.mill.sources import OpcUaSource, Source, SqlSource
from pipeline.mill.units import UnitChange, is_unit, lab_change, signal_change
from pipeline.mill.zones import offset_s
