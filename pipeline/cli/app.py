"""Commands of lostpol.

Heavy parts are imported inside the commands, so that help and errors come at once. Exit codes
are listed in ``pipeline.base.errors``.
"""

from __future__ import annotations

import gc
import signal
import sys
import traceback
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Final, Literal

from cyclopts import CycloptsError, Parameter, validators

from pipeline.base import ConfigError, LostpolError, full_disk
from pipeline.cli.advice import setpoint, standing
from pipeline.cli.care import health, tidy
from pipeline.cli.desk import desk
from pipeline.cli.dossier import explain
from pipeline.cli.endings import as_said, nobody_reads
from pipeline.cli.exports import describe, pull_direct
from pipeline.cli.findings import dictionary, findings, outbox, show_findings, verdict, verdicts
from pipeline.cli.handbook import handbook
from pipeline.cli.levers import levers
from pipeline.cli.line import app, command
from pipeline.cli.note import note
from pipeline.cli.period import period
from pipeline.cli.replay import replay
from pipeline.cli.runs import backfill, nightly, serve, weekly
from pipeline.cli.scorecard import scorecard
from pipeline.cli.settling import settling
from pipeline.cli.spoken import without_language
from pipeline.words import said

for _command in (
    describe, backfill, nightly, weekly, serve, desk, findings, explain, period, replay, levers,
    note, verdict, verdicts, outbox, dictionary, handbook, scorecard, health, tidy, settling,
    standing, setpoint,
):  # fmt: skip
    command(_command)
#: New objects after which Python looks for rubbish; some tens of MB at most.
_NEW_OBJECTS: Final = 100_000
MillFile = Annotated[Path, Parameter(help="The mill's description, a TOML file.")]


@command
def demo(*, out: Path | None = None) -> None:
    """Show eight weeks of an invented mill, from exports to ranked losses.

    Makes a fresh folder lostpol_demo here; where there is one already, it stays as it is, verdicts
    and all, and the new one is called lostpol_demo_2, and so on.

    Parameters
    ----------
    out
        Folder to make instead; one that is there must be empty.
    """
    from pipeline.cli import demo as show  # noqa: PLC0415
    from pipeline.cli.terminal import CAUTION, progress_bar, say  # noqa: PLC0415

    with progress_bar() as progress:
        mill, outcome = show.run(Path.cwd(), progress, out=out)
    show_findings(mill.config_path, most=10)
    say(said("Findings store: {path}", path=mill.database_path))
    say(said("Report:         {path}", path=outcome.report))
    say(
        said(
            "Night and week: {folder} (nightly, weekly: .html, .pdf, .txt)",
            folder=mill.reports_path,
        )
    )
    say(said("Description:    {path}", path=mill.config_path))
    say(CAUTION, style="bold")


@command
def check(
    mill: MillFile,
    files: Annotated[
        list[Path] | None,
        Parameter(
            help="Export files, or a folder of them, to compare with the description; nothing is "
            "stored."
        ),
    ] = None,
    /,
) -> None:
    """Check a mill's description against the readings pulled so far, or against export files.

    Names everything that is wrong at once, and tells what the answer will be worth: which losses
    will show, how well their tonnes will be known, how soon, and what is missing. With export files
    it first shows what was understood of each of them; nothing is stored.
    """
    from pipeline.cli.check import check_exports, check_mill  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415

    described, lines = load_mill(mill), None
    if files:
        # Knows layouts and how they are guessed, which a look at the description alone does not.
        from pipeline.cli.folders import exports_named  # noqa: PLC0415

        if named := exports_named(described, files, say):
            lines = check_exports(described, named, say)
    for line in check_mill(described) if lines is None else lines:
        say(line)


@command
def pull(
    mill: MillFile,
    files: Annotated[
        list[Path] | None, Parameter(help="Export files, or a folder of them.")
    ] = None,
    /,
    *,
    from_source: Annotated[
        bool, Parameter(negative="", help="Read the direct sources of the description.")
    ] = False,
    first: Annotated[date | None, Parameter(name="--from", help="First local day.")] = None,
    last: Annotated[date | None, Parameter(name="--to", help="Last local day.")] = None,
    corrects: Annotated[
        bool,
        Parameter(
            negative="",
            help="Apply these files in full: even if pulled before, bad readings over good ones.",
        ),
    ] = False,
) -> None:
    """Read export files, or direct sources, into the store. What is known already merges."""
    if bool(files) == from_source or ((first or last) and not from_source):
        raise ConfigError(
            said("Name export files, or ask for direct sources with --from-source."),
            said("command line"),
            said(
                "lostpol pull MILL FILES..., or lostpol pull MILL --from-source [--from DAY --to "
                "DAY]"
            ),
        )
    if not files:
        pull_direct(mill, first, last)
        return
    from pipeline import stages  # noqa: PLC0415
    from pipeline.base import only_run  # noqa: PLC0415
    from pipeline.cli.folders import exports_named  # noqa: PLC0415
    from pipeline.cli.pull_show import pull_lines  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import progress_bar, say  # noqa: PLC0415

    described = load_mill(mill)
    named = exports_named(described, files, say)
    found: list[stages.Mended] = []
    with only_run(described), progress_bar() as progress:
        result = stages.mending(
            described,
            lambda: stages.pull(described, named, progress, in_full=corrects),
            found.append,
        )
    for line in [*stages.lines_of(found), *pull_lines(result, mill)]:
        say(line)


@command
def completion(shell: Literal["bash", "zsh", "fish"], /) -> None:
    """Print a script by which a shell completes lostpol's commands and options at a key.

    For bash: lostpol completion bash > ~/.local/share/bash-completion/completions/lostpol
    """
    sys.stdout.write(app.generate_completion(shell=shell) + "\n")


@command
def refused(
    mill: MillFile,
    *,
    reason: str | None = None,
    file: str | None = None,
    limit: Annotated[int, Parameter(validator=validators.Number(gte=0))] = 20,
) -> None:
    """Show the rows of exports that were refused, and why.

    Parameters
    ----------
    reason
        Only rows refused for this reason, such as "time unreadable".
    file
        Only rows of the export with this name.
    limit
        How many rows to show.
    """
    from pipeline.cli.refused_show import refused_lines  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415

    for line in refused_lines(load_mill(mill), reason, file, limit):
        say(line)


def run(arguments: Sequence[str]) -> int:
    """Run one command and give its exit code; see ``pipeline.base.errors`` for the codes."""
    words = [word for word in arguments if word != "--debug"]
    debug = len(words) < len(arguments)
    try:
        words = without_language(words)
        app(words, exit_on_error=False, print_error=False, result_action="return_value")
    except (LostpolError, CycloptsError) as error:
        return _show(as_said(error), debug=debug)
    except BrokenPipeError:
        return nobody_reads()
    except KeyboardInterrupt:
        stop = said(
            "Run the same command again: what was finished is kept, the rest is done again."
        )
        _show(
            LostpolError(said("Stopped by the keyboard."), said("command line"), stop), debug=debug
        )
        return 130
    except Exception as error:  # noqa: BLE001  (the last door: a traceback is no answer)
        if (full := full_disk(error, Path.cwd())) is not None:
            return _show(full, debug=debug)
        text = f"{type(error).__name__}: {error}"
        cure = said("Run it again with --debug and report what it shows.")
        return _show(LostpolError(said("lostpol met a fault of its own."), text, cure), debug=debug)
    return 0


def _show(error: LostpolError, *, debug: bool) -> int:
    """Show an error, after the traceback when asked for, and give its exit code."""
    from pipeline.cli.terminal import show_error  # noqa: PLC0415

    if debug:
        traceback.print_exc()
    show_error(error)
    return error.exit_code


def _stop(_number: int, _frame: object) -> None:
    raise LostpolError(
        said("Stopped by the system: a time limit, a shutdown, or somebody."),
        said("command line"),
        said("Run the same command again: what was finished is kept, the rest is done again."),
    )


def main() -> None:
    """Entry point of the ``lostpol`` command."""
    # Loading makes hundreds of thousands of objects that stay: looking through them for rubbish
    # after every 700 of them, as is usual, would cost a short command a fifth of its time.
    gc.set_threshold(_NEW_OBJECTS, 20, 20)
    # A time limit of the system ends a run in good order: recorded, and told of by mail.
    signal.signal(signal.SIGTERM, _stop)
    code = run(sys.argv[1:])
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        code = nobody_reads()
    sys.exit(code)
