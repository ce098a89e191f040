"""Commands for people who answer to findings and pass them on; light to import, as it is."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

from pipeline.errors import ConfigError

MillFile = Annotated[Path, Parameter(help="The mill's description, a TOML file.")]


def verdict(
    mill: MillFile,
    finding: Annotated[str, Parameter(help="Id, its beginning, or the rank.")],
    said: Annotated[
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
    if withdraw == (said is not None):
        cure = "lostpol verdict MILL ID confirmed|dismissed|fixed --note TEXT, or --withdraw"
        raise ConfigError("Say one verdict, or take back the last.", "command line", cure)
    from pipeline.config import load_mill  # noqa: PLC0415
    from pipeline.terminal import say  # noqa: PLC0415
    from pipeline.verdicts import give_verdict, told  # noqa: PLC0415

    now = give_verdict(load_mill(mill), finding, said, note, by, cause)
    for line in told(now):
        say(line)


def verdicts(mill: MillFile) -> None:
    """List every verdict given, last one first."""
    from pipeline.config import load_mill  # noqa: PLC0415
    from pipeline.terminal import say  # noqa: PLC0415
    from pipeline.verdicts import verdict_lines  # noqa: PLC0415

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
    from pipeline.config import load_mill  # noqa: PLC0415
    from pipeline.mail import flush, put_back  # noqa: PLC0415
    from pipeline.outbox_show import outbox_lines  # noqa: PLC0415
    from pipeline.terminal import say  # noqa: PLC0415

    described = load_mill(mill)
    if again is not None:
        put_back(described, again)
    try:
        if send:
            flush(described)
    finally:
        for line in outbox_lines(described):
            say(line)
