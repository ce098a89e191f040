"""Why: causes weighed by evidence, faulty sensors, laboratory checks."""

from models.cause.causes import judge
from models.cause.corroboration import corroborate, with_faults
from models.cause.episode import NamedCause, fact
from models.cause.extrapolated import extrapolation_facts
from models.cause.lab_check import (
    DAILY_COLUMNS,
    LabCheck,
    daily_frame,
    published_pct,
    zone_excess_kg,
)
from models.cause.notices import NOTICE_COLUMNS, find_notices
from models.cause.residence import crossed
from models.cause.sensor_fault import SensorFault
