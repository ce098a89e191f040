"""The command that answers about any period; light to import, as all commands are."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter


def period(
    mill: Annotated[Path, Parameter(help="The mill's description, a TOML file.")],
    /,
    *,
    first: Annotated[str, Parameter(name="--from", help="Start, as people say it.")],
    last: Annotated[str, Parameter(name="--to", help="End (excluded).")],
    beside: str = "usual",
    json: bool = False,
    out: Path | None = None,
) -> None:
    """Tell what any period lost: where, by what, against usual and targets, and what moved first.

    Times are plant time: 2026-11-24T02:00, 2026-11-24, "yesterday 02:00", "Tue 14:30", now. A day
    alone is its first minute in --from and its end in --to; a time of day alone in --to is the next
    one after --from.

    Parameters
    ----------
    beside
        usual, or another period to compare with, as FROM..TO.
    json
        Write it as JSON, times in UTC, for other programs.
    out
        Folder to write the page to; without one, reports/period in the store.
    """
    from pipeline.base import now  # noqa: PLC0415
    from pipeline.cli import period_show  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import CAUTION, say  # noqa: PLC0415
    from pipeline.period import answer, beside_of, period_of  # noqa: PLC0415
    from pipeline.words import said  # noqa: PLC0415

    described = load_mill(mill)
    moment = now()
    window = period_of(first, last, described.tz, moment)
    found = answer(described, window, beside_of(beside, described.tz, moment))
    if json:
        sys.stdout.write(period_show.as_json(found) + "\n")
        if out is not None:
            period_show.write_page(found, out)
        return
    for line in period_show.lines_of(found):
        say(line)
    say(said("Page: {path}", path=period_show.write_page(found, out)))
    say(CAUTION)
