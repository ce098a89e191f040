"""The command that runs a period again with something changed; light to import."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter


def replay(
    mill: Annotated[Path, Parameter(help="The mill's description, a TOML file.")],
    /,
    *,
    first: Annotated[str, Parameter(name="--from", help="Start, as people say it.")],
    last: Annotated[str, Parameter(name="--to", help="End (excluded).")],
    change: Annotated[
        tuple[str, ...], Parameter(name="--set", negative="", help="KEY=VALUE; may be repeated.")
    ] = (),
    json: bool = False,
) -> None:
    """Tell what a period would have lost with something changed, and what that would have cost.

    Keys: ph_limed (the reading held or moved), ph_limed_target, flow, imbibition, stop_h,
    filtrate_to (mixed or limed); of a vessel VESSEL.temp_degc, VESSEL.level_pct,
    VESSEL.mud_level_pct, VESSEL.in_service (in or out). A value with a sign is relative, without
    one absolute: ph_limed=+0.2, ph_limed=7.4, settler.temp_degc=-2, flow=+10%.

    What the mill has never run, or the formulas do not cover, is refused. Times are plant time, as
    for lostpol period.

    Parameters
    ----------
    json
        Write it as JSON, times in UTC, for other programs.
    """
    from pipeline.base import now  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import CAUTION, say  # noqa: PLC0415
    from pipeline.period import period_of  # noqa: PLC0415
    from pipeline.replay import replay as run_again  # noqa: PLC0415
    from pipeline.replay import replay_json, replay_lines  # noqa: PLC0415

    described = load_mill(mill)
    found = run_again(described, period_of(first, last, described.tz, now()), change)
    if json:
        sys.stdout.write(replay_json(found) + "\n")
        return
    for line in replay_lines(found):
        say(line)
    say(CAUTION)
