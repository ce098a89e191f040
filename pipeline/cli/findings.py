"""Commands for people who answer to findings and pass them on; light to import, as it is."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

from pipeline.base import ConfigError

MillFile = Annotated[Path, Parameter(help="The mill's description, a TOML file.")]


def findings(mill: MillFile, *, json: bool = False, out: Path | None = None) -> None:
    """List the losses found so far, most worth acting on first.

    Parameters
    ----------
    json
        Write them as JSON, times in UTC, for other programs.
    out
        Write them to this file instead: .csv, .xlsx or .parquet.
    """
    if json and out is not None:
        cure = "lostpol findings MILL --json > FILE, or lostpol findings MILL --out FILE"
        raise ConfigError("Either --json or --out, not both.", "command line", cure)
    if out is not None:
        _write_findings(mill, out)
    elif json:
        from pipeline.cli.listing import as_json  # noqa: PLC0415
        from pipeline.mill import load_mill  # noqa: PLC0415

        sys.stdout.write(as_json(load_mill(mill)) + "\n")
    else:
        show_findings(mill)


def show_findings(mill: Path, most: int | None = None) -> None:
    """Write the ranked findings of a mill as a table."""
    from pipeline.cli import terminal  # noqa: PLC0415
    from pipeline.cli.listing import listing_view  # noqa: PLC0415
    from pipeline.mill import load_mill  # noqa: PLC0415
    from pipeline.store import published_store_of  # noqa: PLC0415

    described = load_mill(mill)
    view, store = listing_view(described), published_store_of(described)
    nothing = view.findings.is_empty() and store.runs().is_empty()
    if nothing and store.findings(withdrawn=True).is_empty():
        terminal.say(f"Nothing has been worked out yet. Next: lostpol backfill {mill}")
        return
    terminal.show_findings(view, most, str(mill))


def _write_findings(mill: Path, out: Path) -> None:
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.mill import load_mill  # noqa: PLC0415
    from pipeline.store import export_findings  # noqa: PLC0415

    count = export_findings(load_mill(mill), out)
    say(f"{count} findings written: {out}")


def verdict(
    mill: MillFile,
    finding: Annotated[str, Parameter(help="Id of the finding, or its beginning.")],
    outcome: Annotated[
        Literal["confirmed", "dismissed", "fixed"] | None,
        Parameter(help="confirmed: it was real; dismissed: it was none; fixed: real, and mended."),
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
        cure = "lostpol verdict MILL ID confirmed|dismissed|fixed --note TEXT, or --withdraw"
        raise ConfigError("Say one verdict, or take back the last.", "command line", cure)
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.mill import load_mill  # noqa: PLC0415
    from pipeline.store import give_verdict, verdict_summary  # noqa: PLC0415

    described = load_mill(mill)
    marked = give_verdict(described, finding, outcome, note, by, cause)
    for line in verdict_summary(described, marked):
        say(line)


def verdicts(mill: MillFile) -> None:
    """List every verdict given, last one first."""
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.mill import load_mill  # noqa: PLC0415
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
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.mail import flush, put_back  # noqa: PLC0415
    from pipeline.mill import load_mill  # noqa: PLC0415

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
    say(f"Written: {out}")
