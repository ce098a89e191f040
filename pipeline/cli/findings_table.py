"""The list of findings on a terminal, on a narrow one, and in a pipe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from rich.text import Text

from pipeline.cli.spoken import spoken
from pipeline.cli.tables import ROOM, Column, show_table
from pipeline.cli.terminal import OUT, harmless, say
from pipeline.report import FindingRow, ReportView, finding_rows
from pipeline.words import figure, joined, said, verdict_words

_TITLE: Final = said("Where sucrose was lost, most worth acting on first")
_BOXED: Final = (
    Column("", "right"),
    Column(said("When (mill time)")),
    Column(said("Why and where")),
    Column(said("Lost, 90 % interval"), "right"),
    Column(said("Worth"), "right"),
    Column(said("How sure")),
)
_PIPED: Final = tuple(
    Column(name)
    for name in (
        *(
            said("no"),
            "id",
            said("when"),
            said("lasted"),
            said("status"),
            said("why"),
            said("where"),
        ),
        *(
            said("lost above the usual, 90 % interval"),
            said("worth"),
            said("how sure"),
            said("verdict"),
            said("noted beforehand"),
        ),
    )
)


def show_findings(
    view: ReportView, most: int | None = None, mill: str = "MILL", *, as_given: bool = False
) -> None:
    """Write the ranked findings as a table, or say that there are none.

    Parameters
    ----------
    most : int, optional
        Show only so many, and say how many more there are.
    mill : str
        The mill's description, for the command that shows all of them.
    as_given : bool
        In the order of the view rather than by rank.
    """
    rows = [row for row in finding_rows(view, as_given=as_given) if not row.withdrawn]
    if not rows:
        say(said("No loss above the unavoidable was found in the days searched."))
        return
    _table(rows[:most], _verdicts(view), _noted(view, rows[:most]))
    if not OUT.is_terminal:
        return
    say(said("Lost above the usual. Numbered by worth times how sure the finding is."))
    rest = rows[most:] if most is not None else []
    if rest:
        tonnes = sum(row.lost_t or 0.0 for row in rest)
        more = said(
            "{rest} more, {tonnes} t together", rest=len(rest), tonnes=figure(tonnes, ".1f")
        )
        say(said("{more}: see the report, or lostpol findings {mill}.", more=more, mill=mill))


def _verdicts(view: ReportView) -> dict[str, str]:
    """What people said, by finding."""
    if "verdict" not in view.findings.columns:
        return {}
    pairs = view.findings.select("finding_id", "verdict").drop_nulls().rows()
    return {name: verdict_words(verdict) for name, verdict in pairs}


def _noted(view: ReportView, rows: Sequence[FindingRow]) -> dict[str, str]:
    """What was noted beforehand of the hours of findings, by finding."""
    if not view.known:
        return {}
    from pipeline.charts import in_hours  # noqa: PLC0415

    found = {row.raw_id: in_hours(view.known, row.started, row.ended) for row in rows}
    return {
        name: said(
            "noted: {kinds}",
            kinds=joined(", ", dict.fromkeys(k.words.split(",")[0] for k in known)),
        )
        for name, known in found.items()
        if known
    }


def _table(
    rows: Sequence[FindingRow], verdicts: Mapping[str, str], noted: Mapping[str, str]
) -> None:
    """Write findings as boxes, blocks or lines."""
    if not OUT.is_terminal:
        show_table(_PIPED, [_piped(row, verdicts, noted) for row in rows])
    elif OUT.width < ROOM:
        for row in rows:
            _block(row, verdicts.get(row.raw_id, ""), noted.get(row.raw_id, ""))
    else:
        show_table(_BOXED, [_boxed(row, verdicts, noted) for row in rows], _TITLE, lines=True)


def _piped(
    row: FindingRow, verdicts: Mapping[str, str], noted: Mapping[str, str]
) -> tuple[str, ...]:
    return (
        *(str(row.number), row.finding_id, row.when, row.lasted, row.status, row.cause.name),
        *(row.where, row.mass, row.worth, row.confidence, verdicts.get(row.raw_id, "")),
        noted.get(row.raw_id, ""),
    )


def _boxed(
    row: FindingRow, verdicts: Mapping[str, str], noted: Mapping[str, str]
) -> tuple[str, ...]:
    return (
        str(row.number),
        said(
            "{when}\n{lasted}, {status}, id {finding_id}",
            when=row.when,
            lasted=row.lasted,
            status=row.status,
            finding_id=row.finding_id,
        ),
        joined("\n", filter(None, (row.cause.name, row.where, noted.get(row.raw_id)))),
        row.mass.replace(" (", "\n("),
        row.worth.replace(" (", "\n("),
        joined("\n", filter(None, (row.confidence, verdicts.get(row.raw_id)))),
    )


def _block(row: FindingRow, verdict: str, noted: str) -> None:
    """One finding below the other: what, where and when, how much, how sure."""
    OUT.print(
        Text(
            harmless(spoken(said("{number}. {name}", number=row.number, name=row.cause.name))),
            style="bold",
        ),
        soft_wrap=False,
    )
    for line in (
        said("{mass} above the usual", mass=row.mass),
        row.worth,
        row.where,
        said("{when} ({lasted}, {status})", when=row.when, lasted=row.lasted, status=row.status),
        joined("; ", filter(None, (row.confidence, verdict, noted))),
        said("id {finding_id}", finding_id=row.finding_id),
    ):
        OUT.print(Text(f"   {harmless(spoken(line))}"), soft_wrap=False)
