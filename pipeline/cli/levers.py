"""The command that shows what each realistic change would have saved; light to import."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from pipeline.words import said


def levers(
    mill: Annotated[Path, Parameter(help="The mill's description, a TOML file.")],
    /,
    *,
    json: bool = False,
) -> None:
    """Tell what each realistic change would have saved since the season began, best first.

    Weeks that are not worked out yet are worked out first and kept: some ten seconds each. While
    another run holds the store, what is kept is shown.

    Parameters
    ----------
    json
        Write it as JSON for other programs.
    """
    from pipeline.base import StoreBusyError, only_run  # noqa: PLC0415
    from pipeline.cli import levers_show  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import CAUTION, progress_bar, say  # noqa: PLC0415
    from pipeline.replay import work_out_levers  # noqa: PLC0415

    described = load_mill(mill)
    busy = ""
    try:
        with only_run(described), progress_bar() as progress:
            work_out_levers(described, progress)
    except StoreBusyError:
        busy = said("Another run holds the store: shown is what was worked out before.")
    found = levers_show.kept(described)
    if json:
        sys.stdout.write(levers_show.as_json(found) + "\n")
        return
    for line in (busy, *levers_show.lines_of(found)):
        if line:
            say(line)
    levers_show.show_table(found)
    for line in levers_show.lines_below(found):
        say(line)
    say(CAUTION)
