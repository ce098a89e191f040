"""Commands for people who answer to findings and pass them on; light to import, as it is."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from cyclopts import Parameter, validators

from pipeline.base import ConfigError
from pipeline.words import said

if TYPE_CHECKING:
    from pipeline.cli.chosen import Chosen

MillFile = Annotated[Path, Parameter(help="The mill's description, a TOML file.")]


def findings(
    mill: Annotated[
        Path | None,
        Parameter(help="The mill's description; without one, the only one nearby."),
    ] = None,
    /,
    *,
    since: date | None = None,
    cause: str | None = None,
    section: str | None = None,
    sort: Literal["rank", "time", "tonnes", "sure"] = "rank",
    limit: Annotated[int | None, Parameter(validator=validators.Number(gte=1))] = None,
    json: bool = False,
    out: Path | None = None,
) -> None:
    """List the losses found so far, most worth acting on first.

    In a pipe, one finding a line, its cells parted by tabs.

    Parameters
    ----------
    since
        Only those that went on at the start of this local day or later, such as 2025-11-01.
    cause
        Only this cause: its name, such as microbial, or a part of how it is said.
    section
        Only this vessel or station, likewise.
    sort
        rank, time (last first), tonnes or sure (most first).
    limit
        So many at most.
    json
        Write them as JSON, times in UTC, for other programs.
    out
        Write all of them to this file instead: .csv, .xlsx or .parquet.
    """
    from pipeline.cli.chosen import Chosen  # noqa: PLC0415
    from pipeline.cli.nearby import only_mill  # noqa: PLC0415

    chosen = Chosen(since, cause, section, sort, limit)
    if out is not None and (json or chosen.narrowed or sort != "rank"):
        cure = said("lostpol findings MILL --json > FILE, or lostpol findings MILL --out FILE")
        raise ConfigError(
            said("--out writes all findings and goes alone."), said("command line"), cure
        )
    meant = mill or only_mill("findings")
    if out is not None:
        _write_findings(meant, out)
    elif json:
        from pipeline.cli.listing import as_json  # noqa: PLC0415
        from pipeline.cli.spoken import load_mill  # noqa: PLC0415

        sys.stdout.write(as_json(load_mill(meant), chosen) + "\n")
    else:
        show_findings(meant, chosen=chosen, told=mill is None)


def show_findings(
    mill: Path, most: int | None = None, chosen: Chosen | None = None, *, told: bool = False
) -> None:
    """Write the ranked findings of a mill as a table.

    Parameters
    ----------
    most : int, optional
        Show only so many, and say how many more there are.
    chosen : Chosen, optional
        Which of them, and in which order.
    told : bool
        Say whose they are: nobody named the mill.
    """
    from pipeline.cli import findings_table, terminal  # noqa: PLC0415
    from pipeline.cli.listing import listing_view  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.store import published_store_of  # noqa: PLC0415

    described = load_mill(mill)
    if told:
        terminal.note(said("Findings of {mill}, {file}", mill=described.name, file=mill))
    view, store = listing_view(described, chosen), published_store_of(described)
    nothing = view.findings.is_empty() and store.runs().is_empty()
    if nothing and store.findings(withdrawn=True).is_empty():
        terminal.say(
            said("Nothing has been worked out yet. Next: lostpol backfill {path}", path=mill)
        )
        return
    if view.findings.is_empty() and chosen is not None and chosen.narrowed:
        terminal.say(said("No finding is like that. Without the options all are listed."))
        return
    findings_table.show_findings(view, most, str(mill), as_given=chosen is not None)


def _write_findings(mill: Path, out: Path) -> None:
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.store import export_findings  # noqa: PLC0415

    count = export_findings(load_mill(mill), out)
    say(said("{count} findings written: {out}", count=count, out=out))


def verdict(
    mill: MillFile,
    finding: Annotated[str, Parameter(help="Id of the finding, or its beginning.")],
    outcome: Annotated[
        Literal["confirmed", "dismissed", "fixed"] | None,
        Parameter(help="confirmed: it was real; dismissed: not real; fixed: real, and repaired."),
    ] = None,
    /,
    *,
    note: str = "",
    by: str | None = None,
    cause: str | None = None,
    withdraw: Annotated[bool, Parameter(negative="")] = False,
) -> None:
    """Say what became of a finding. Verdicts are kept for good and sharpen what comes.

    Parameters
    ----------
    note
        Why, in your words.
    by
        Who says so; without it, the user of this machine.
    cause
        What it turned out to be, where the finding names another cause.
    withdraw
        Take back the verdict that counts; it stays in the history.
    """
    if withdraw == (outcome is not None):
        cure = said(
            "lostpol verdict MILL FINDING confirmed|dismissed|fixed --note TEXT, or --withdraw"
        )
        raise ConfigError(
            said("Say one verdict, or take back the last."), said("command line"), cure
        )
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.store import give_verdict, verdict_summary  # noqa: PLC0415

    described = load_mill(mill)
    marked = give_verdict(described, finding, outcome, note, by, cause)
    for line in verdict_summary(described, marked):
        say(line)


def verdicts(mill: MillFile) -> None:
    """List every verdict given, last one first."""
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.store import verdict_lines  # noqa: PLC0415

    for line in verdict_lines(load_mill(mill)):
        say(line)


def outbox(
    mill: MillFile,
    *,
    send: Annotated[bool, Parameter(negative="")] = False,
    again: str | None = None,
) -> None:
    """List the mail of a mill that is on its way, was sent, or was not taken.

    Parameters
    ----------
    send
        Send first what waits.
    again
        Name of a mail that was refused, or whose fate is not known: let it wait again.
    """
    from pipeline.cli.outbox_show import outbox_lines  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.mail import flush, put_back  # noqa: PLC0415

    described = load_mill(mill)
    if again is not None:
        put_back(described, again)
    try:
        if send:
            flush(described)
    finally:
        for line in outbox_lines(described):
            say(line)


def dictionary(*, out: Path | None = None) -> None:
    """Explain every column of every table, view, export and lake file, as Markdown.

    Parameters
    ----------
    out
        Write it to this file instead of the terminal.
    """
    from pipeline.store import dictionary_text, write_dictionary  # noqa: PLC0415

    if out is None:
        sys.stdout.write(dictionary_text())
        return
    from pipeline.cli.terminal import say  # noqa: PLC0415

    write_dictionary(out)
    say(said("Written: {out}", out=out))
