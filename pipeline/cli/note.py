"""The command that keeps what was known beforehand; light to import, as all commands are."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

from pipeline.base import ConfigError
from pipeline.words import said


def note(
    mill: Annotated[Path, Parameter(help="The mill's description, a TOML file.")],
    text: Annotated[str | None, Parameter(help="What was known, in your words.")] = None,
    /,
    *,
    first: Annotated[str | None, Parameter(name="--from", help="Start, as people say it.")] = None,
    last: Annotated[str | None, Parameter(name="--to", help="End (excluded).")] = None,
    kind: Literal[
        "stop", "cleaning", "calibration", "reagent", "method", "trial", "other"
    ] = "other",
    by: str = "",
    file: Path | None = None,
    withdraw: str | None = None,
) -> None:
    """Keep what was known of some hours: a planned stop, a calibration, a trial. Lists all without.

    Notes are shown in accounts of periods and with findings. Something odd that a note of its kind
    explains is told as known; a loss is never hidden by a note.

    Parameters
    ----------
    kind
        What it was.
    by
        Who says so.
    file
        A calendar instead: TOML with [[note]] sections, or CSV with from,to,kind,text.
    withdraw
        Take back the note of this id.
    """
    from pipeline import stages  # noqa: PLC0415
    from pipeline.base import only_run  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.period import note_of  # noqa: PLC0415

    given = [item is not None for item in (text, file, withdraw)]
    if sum(given) > 1 or (text is None) != (first is None and last is None):
        raise ConfigError(
            said("Say one note with its hours, or name a calendar, or take one back."),
            said("command line"),
            said(
                'lostpol note MILL --from T --to T "text", lostpol note MILL --file FILE, '
                "or lostpol note MILL --withdraw ID"
            ),
        )
    described = load_mill(mill)
    if not any(given):
        for line in stages.note_lines(described):
            say(line)
        return
    with only_run(described):
        if withdraw is not None:
            lines = stages.take_back_note(described, withdraw)
        elif file is not None:
            lines = stages.keep_calendar(described, file)
        else:
            told = {"from": first, "to": last, "kind": kind, "text": text, "by": by}
            lines = stages.keep_note(described, note_of(described, told, "--from, --to"))
    for line in lines:
        say(line)
