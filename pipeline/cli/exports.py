"""Commands about exports and sources that the command line hands on; light to import, as it is."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter, validators

from pipeline.words import said


def describe(  # noqa: PLR0913 (each is an option of the command)
    files: Annotated[
        list[Path],
        Parameter(
            help="Exports of tags and of the laboratory, lists of tags, tables of vessels (name, "
            "m3, m2), or a folder of them."
        ),
    ],
    /,
    *,
    out: Path = Path("mill.toml"),
    name: str = "My mill",
    zone: str | None = None,
    price: Annotated[float | None, Parameter(validator=validators.Number(gt=0, lt=1e12))] = None,
    currency: str | None = None,
    page: bool = False,
    page_out: Path | None = None,
    ask: bool = True,
    time_column: str | None = None,
    time_zone: str | None = None,
    time_format: str | None = None,
    decimal: str | None = None,
    answer: list[str] | None = None,
) -> None:
    """Draft a mill's description from its exports, each guess with its reason, to be confirmed.

    No file stops it: what became of each is told. What the exports leave open is asked at a
    terminal; otherwise the likeliest answer is taken and marked CONFIRM.

    Parameters
    ----------
    out
        File to write; an existing one is never overwritten.
    name
        What the mill is called.
    zone
        IANA time zone of the plant, such as America/Sao_Paulo.
    price
        What a tonne of sucrose is worth.
    currency
        Its currency, three letters.
    page
        Also write a page to confirm the draft on: the station, its tags and what is in doubt.
    page_out
        File of that page; left out, it lies beside the description, as mill.html.
    ask
        Put questions at a terminal; --no-ask takes the likeliest answers.
    time_column
        Column of times in all exports; left out, it is looked for in each.
    time_zone
        Zone of times written without one, where it is not the plant's: a name or such as -03:00.
    time_format
        How times are written, such as "%d/%m/%Y %H:%M".
    decimal
        Mark of decimals, . or ,
    answer
        Any other key of an [[exports.layout]] for all files, as KEY=VALUE; may be repeated.
    """
    from pipeline.cli import describing  # noqa: PLC0415

    typed = {
        "time_column": time_column, "time_zone": time_zone, "time_format": time_format,
        "decimal": decimal,
    }  # fmt: skip
    given = {key: value for key, value in typed.items() if value is not None}
    sheet = page_out or (out.with_suffix(".html") if page else None)
    describing.describe(
        files, out, name, zone, sheet, describing.Given(given, answer or [], ask, price, currency)
    )


def pull_direct(mill: Path, first: date | None, last: date | None) -> None:
    """Read the direct sources of a mill and tell what became of their rows."""
    from pipeline.base import only_run  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import progress_bar, say  # noqa: PLC0415
    from pipeline.sources import pull_sources, source_summary  # noqa: PLC0415

    described = load_mill(mill)
    with only_run(described), progress_bar() as progress:
        results = pull_sources(described, first, last, progress)
    for result in results:
        for line in source_summary(described, result):
            say(line)
    days = set().union(*(result.days_changed for result in results))
    say(said("{days} days changed. Next: lostpol backfill {path}", days=len(days), path=mill))
