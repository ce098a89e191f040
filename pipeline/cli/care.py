"""Commands that look after a store; light to import, as it is."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from pipeline.words import counted, figure, said

MillFile = Annotated[Path, Parameter(help="The mill's description, a TOML file.")]


def health(mill: MillFile, *, json: bool = False) -> None:
    """Tell what is wrong with store, schedule, disk, mail and clock, and the cure of each.

    Ends with code 7 when something stops or falsifies runs. Changes nothing.

    Parameters
    ----------
    json
        Write it as JSON for other programs.
    """
    from pipeline.care import as_json, examine, require_well, sign_lines  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415

    described = load_mill(mill)
    signs = examine(described)
    if json:
        sys.stdout.write(as_json(described, signs) + "\n")
    else:
        for line in sign_lines(signs):
            say(line)
    require_well(described, signs)


def tidy(mill: MillFile, *, dry_run: Annotated[bool, Parameter(negative="")] = False) -> None:
    """Delete what [keep] lets go and remains of stopped runs, and make the database small.

    Parameters
    ----------
    dry_run
        Only list what would go, with its size.
    """
    from pipeline.care import make_room  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415

    done = make_room(load_mill(mill), dry_run=dry_run)
    for item in done.items:
        size = figure(item.size_bytes, ",")
        pad = " " * max(14 - len(size), 0)
        say(
            said(
                "{pad}{size} bytes  {path}  ({why})",
                pad=pad,
                size=size,
                path=item.path,
                why=item.why,
            )
        )
    total = figure(sum(item.size_bytes for item in done.items), ",")
    before, after = figure(done.database_before, ","), figure(done.database_after, ",")
    number = len(done.items)
    if dry_run:
        say(
            counted(
                number,
                "{n} file or folder would go: {total} bytes.",
                "{n} files and folders would go: {total} bytes.",
                total=total,
            )
        )
        say(said("Database: {before} bytes, about {after} after.", before=before, after=after))
        return
    say(
        counted(
            number,
            "{n} file or folder deleted: {total} bytes.",
            "{n} files and folders deleted: {total} bytes.",
            total=total,
        )
    )
    say(said("Database: {before} bytes, {after} after.", before=before, after=after))
