"""What was decided on evidence, in words: shown by ``lostpol check`` and kept with the pull."""

from __future__ import annotations

from pipeline.layouts.columns import Places
from pipeline.layouts.names import Named
from pipeline.layouts.zones_said import Stated


def reasons(at: Places, named: Named, stated: Stated) -> tuple[str, ...]:
    """What was decided on evidence."""
    found = []
    if stated.zone and stated.why:
        found.append(f"Times are in {stated.zone}: {stated.why} says so.")
    if at.zone is not None:
        found.append(f'Each row gives its zone in column "{at.zone[:40]}".')
    if named.one and named.why != "described":
        found.append(f"All readings are of {named.one[:60]}: {named.why} says so.")
    if at.pairs:
        found.append(f"{len(at.pairs)} pairs of times and values stand side by side.")
    if at.date and at.clock in ("hours", "hhmm"):
        way = "hours" if at.clock == "hours" else "hours and minutes"
        found.append(f'Whole numbers under "{at.time[:40]}" are {way} of the day.')
    return tuple(found)
