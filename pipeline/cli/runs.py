"""Commands that make reports: by hand, and on a schedule; light to import, as it is."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter, validators

from pipeline.base import ConfigError, needing
from pipeline.cli.findings import show_findings
from pipeline.words import said

if TYPE_CHECKING:
    from pipeline.run import Outcome

MillFile = Annotated[Path, Parameter(help="The mill's description, a TOML file.")]
_AT_LEAST_ONE = validators.Number(gte=1)
Wait = Annotated[
    float,
    Parameter(
        help="Minutes to wait for another run on the same store.",
        validator=validators.Number(gte=0),
    ),
]


def backfill(
    mills: Annotated[list[Path], Parameter(help="Descriptions of the mills, TOML files.")],
    /,
    *,
    first: Annotated[date | None, Parameter(name="--from", help="First local day.")] = None,
    last: Annotated[date | None, Parameter(name="--to", help="Last local day.")] = None,
    cluster: Annotated[
        bool,
        Parameter(negative="", help="Spread the work over a cluster, by default of processes."),
    ] = False,
    scheduler: Annotated[
        str | None, Parameter(help="Address of a Dask cluster; overrules [cluster] address.")
    ] = None,
    workers: Annotated[
        int | None,
        Parameter(
            help="Processes to work with: of this machine (as many as it bears), or workers of "
            "the cluster.",
            validator=_AT_LEAST_ONE,
        ),
    ] = None,
) -> None:
    """Work out past days anew and search them; without days, all that were pulled."""
    from pipeline import run  # noqa: PLC0415
    from pipeline.base import over_cores  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import progress_bar, say  # noqa: PLC0415
    from pipeline.words import clean  # noqa: PLC0415

    described = [load_mill(mill) for mill in mills]
    if not described:
        raise ConfigError(
            said("No mill was named."),
            said("command line"),
            said("Name one or more TOML files."),
        )
    with progress_bar() as progress:
        if cluster or scheduler:
            with needing("cluster", said("command line")):
                from pipeline.schedule import backfill_together, cluster_of  # noqa: PLC0415

            where = cluster_of(described, scheduler, workers)
            outcomes = backfill_together(described, where, first, last, progress)
        else:
            with over_cores(workers) as spread:
                outcomes = [
                    run.backfill(m, first, last, progress=progress, spread=spread)
                    for m in described
                ]
    for mill, known, outcome in zip(mills, described, outcomes, strict=True):
        if len(mills) > 1:
            say(f"{clean(known.name)} ({mill})")
        _conclude(mill, outcome.report, *_told(outcome))


def nightly(mill: MillFile, *, wait: Wait = 0.0) -> None:
    """Pull what arrived in the inbox, search, and report on yesterday and this morning."""
    from pipeline import run  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import progress_bar  # noqa: PLC0415

    with progress_bar() as progress:
        outcome = run.nightly(load_mill(mill), progress=progress, wait_s=60.0 * wait)
    _conclude(mill, outcome.report, *_told(outcome))


def weekly(mill: MillFile, *, wait: Wait = 0.0) -> None:
    """Pull what arrived in the inbox, search, and report on the last seven whole days."""
    from pipeline import run  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import progress_bar  # noqa: PLC0415

    with progress_bar() as progress:
        outcome = run.weekly(load_mill(mill), progress=progress, wait_s=60.0 * wait)
    _conclude(mill, outcome.report, *_told(outcome))


def _told(outcome: Outcome) -> list[str]:
    """What was rotten, and what waits."""
    return [
        *outcome.mended,
        *(
            said("{file}: {why}", file=waiting.path.name, why=waiting.why)
            for waiting in outcome.waiting
        ),
    ]


def serve(
    mills: Annotated[list[Path], Parameter(help="Descriptions of the mills to serve.")], /
) -> None:
    """Stay running and make the nightly and weekly reports at each mill's own times."""
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415

    if not mills:
        raise ConfigError(
            said("No mill was named."),
            said("command line"),
            said("Name one or more TOML files after serve."),
        )
    with needing("serve", said("command line")):
        from pipeline.schedule import serve_mills  # noqa: PLC0415
    serve_mills([load_mill(mill) for mill in mills])


def _conclude(mill: Path, report: Path, *waiting: str) -> None:
    from pipeline.cli.terminal import CAUTION, say  # noqa: PLC0415

    show_findings(mill, most=10)
    for line in waiting:
        say(line)
    say(said("Report: {report}", report=report))
    say(CAUTION)
