"""Commands about exports and sources that the command line hands on; light to import, as it is."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from pipeline.base import ConfigError


def describe(
    files: Annotated[list[Path], Parameter(help="Exports of tags and of the laboratory.")],
    /,
    *,
    out: Path = Path("mill.toml"),
    name: str = "My mill",
    zone: str | None = None,
    page: bool = False,
    page_out: Path | None = None,
) -> None:
    """Draft a mill's description from its exports, each guess with its reason, to be confirmed.

    Parameters
    ----------
    out
        File to write; an existing one is never overwritten.
    name
        What the mill is called.
    zone
        IANA time zone of the plant, such as America/Sao_Paulo.
    page
        Also write a page to confirm the draft on: the station, its tags and what is in doubt.
    page_out
        File of that page; left out, it lies beside the description, as mill.html.
    """
    from pipeline.cli.terminal import progress_bar, say  # noqa: PLC0415
    from pipeline.describe import (  # noqa: PLC0415
        describe_exports,
        draft_summary,
        write_draft,
        write_page,
    )

    if out.exists():
        cure = "Name another file with --out; lostpol never overwrites a description."
        raise ConfigError("There is such a file already.", str(out), cure)
    sheet = page_out or (out.with_suffix(".html") if page else None)
    if sheet is not None and sheet.exists():
        cure = "Name another file with --page-out; lostpol never overwrites a page."
        raise ConfigError("There is such a file already.", str(sheet), cure)
    with progress_bar() as progress:
        draft = describe_exports(files, name, zone, progress)
    write_draft(draft, out)
    if sheet is not None:
        write_page(draft, sheet)
    for line in draft_summary(draft):
        say(line)
    if sheet is not None:
        say(f"Written: {sheet}. Open it in any browser, or print it, to confirm the draft on.")
    say(f"Written: {out}. Read it, confirm what is marked CONFIRM, then: lostpol check {out}")


def pull_direct(mill: Path, first: date | None, last: date | None) -> None:
    """Read the direct sources of a mill and tell what became of their rows."""
    from pipeline.base import only_run  # noqa: PLC0415
    from pipeline.cli.terminal import progress_bar, say  # noqa: PLC0415
    from pipeline.mill import load_mill  # noqa: PLC0415
    from pipeline.sources import pull_sources, source_summary  # noqa: PLC0415

    described = load_mill(mill)
    with only_run(described), progress_bar() as progress:
        results = pull_sources(described, first, last, progress)
    for result in results:
        for line in source_summary(described, result):
            say(line)
    days = set().union(*(result.days_changed for result in results))
    say(f"{len(days)} days changed. Next: lostpol backfill {mill}")
