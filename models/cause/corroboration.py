"""Whether anything but one transmitter bears an episode out.

Heat does not stay where it is, a tank fills only with juice that flows into it, a mill that slows
down slows everywhere, and juice that turns acid does so in the laboratory, too. An episode that
rests on one reading, while every reading that should have moved with it stood still, is a fault of
that sensor and no loss. Where nothing else is measured nothing can be said, and the episode stands.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import polars as pl

from models.amount import Excess
from models.base import Minutes
from models.cause.fall import clear_probe_fault
from models.cause.heat import heat_fault
from models.cause.juice import flow_fault, level_fault
from models.cause.sensor_fault import Case, SensorFault
from models.detect import Candidate, Context

#: What is asked of an episode, by its channel.
_CHECKS: dict[str, Callable[[Case], SensorFault | None]] = {
    "drop": clear_probe_fault,
    "heat": heat_fault,
    "hold": level_fault,
    "mud": level_fault,
    "throughput": flow_fault,
    "standing": flow_fault,
}


def corroborate(
    found: list[Candidate], excess: Excess, context: Context
) -> tuple[list[Candidate], list[SensorFault]]:
    """Part the episodes that something bears out from those of a single sick sensor.

    Parameters
    ----------
    found : list of Candidate
    excess : Excess
    context : Context

    Returns
    -------
    kept : list of Candidate
        In order of time. Lesser episodes that a refuted one had taken up stand on their own.
    faults : list of SensorFault
    """
    kept: list[Candidate] = []
    faults: list[SensorFault] = []
    for item in found:
        alone = [replace(item, joined=())]
        alone += [Candidate(*part) for part in item.joined]
        refuted = _refuted(Case(item, context.minutes, excess, context.station, context))
        if refuted is None:
            kept.append(item)
            continue
        faults.append(refuted)
        for lesser in alone[1:]:
            fault = _refuted(Case(lesser, context.minutes, excess, context.station, context))
            if fault is None:
                kept.append(lesser)
            else:
                faults.append(fault)
    return sorted(kept, key=lambda c: c.span.start), faults


def with_faults(notices: pl.DataFrame, minutes: Minutes, faults: list[SensorFault]) -> pl.DataFrame:
    """Notices with those of sick sensors, in order of time."""
    rows = [
        {
            "started": minutes.at(fault.start),
            "ended": minutes.at(fault.end),
            "kind": "sensor_fault",
            "text": f"{fault.tag}: {fault.why} Compare it with a gauge on the spot; were it "
            f"right, about {fault.kg / 1000.0:.1f} t of sucrose would have been lost.",
        }
        for fault in faults
    ]
    more = pl.DataFrame(rows, schema=notices.schema)
    return pl.concat([notices, more]).sort("started", "kind")


def _refuted(case: Case) -> SensorFault | None:
    check = _CHECKS.get(case.item.channel.name)
    return check(case) if check is not None else None
