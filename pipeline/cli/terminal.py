"""What commands show on a terminal: a bar for long work, tables, and errors in three lines."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from pipeline import base
from pipeline.base import LostpolError
from pipeline.report import FindingRow, ReportView, finding_rows
from pipeline.words import clean

#: Results go to standard output, bars and errors to standard error.
OUT: Final = Console(soft_wrap=True, highlight=False)
ERR: Final = Console(stderr=True, soft_wrap=True, highlight=False)
CAUTION: Final = (
    "lostpol only advises and never writes to a control system. Hot juice and steam, lime and "
    "confined vessels can injure and kill: follow site procedures and local codes, and leave "
    "set-points and vessel entry to trained and licensed people."
)


def say(text: str, style: str = "") -> None:
    """Write one line to standard output; nothing in it is taken for a command to the terminal."""
    OUT.print(Text(_harmless(text), style=style))


def show_error(error: LostpolError) -> None:
    """Write what, where and next to standard error."""
    ERR.print(Text(_harmless(str(error))))


def _harmless(text: str) -> str:
    """Take out control characters: names in exports and files are untrusted."""
    return "".join(char if char == "\n" or char.isprintable() else "?" for char in text)


@contextmanager
def progress_bar() -> Iterator[base.Progress]:
    """Give a listener that draws a bar; nothing is drawn where nobody looks."""
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TaskProgressColumn(),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=ERR, transient=True, disable=not ERR.is_terminal) as bar:
        task = bar.add_task("", total=None)

        def listen(what: str, done: int, total: int) -> None:
            words = Text(clean(what, 60)).plain.replace("[", "(").replace("]", ")")
            bar.update(task, description=words, completed=done, total=max(total, 1))

        yield listen


def show_findings(view: ReportView, most: int | None = None, mill: str = "MILL") -> None:
    """Write the ranked findings as a table, or say that there are none.

    Parameters
    ----------
    most : int, optional
        Show only so many, and say how many more there are.
    mill : str
        The mill's description, for the command that shows all of them.
    """
    rows = [row for row in finding_rows(view) if not row.withdrawn]
    if not rows:
        say("No loss above the unavoidable was found in the days searched.")
        return
    OUT.print(_table(rows[:most], _verdicts(view), _noted(view, rows[:most])))
    say("Ranked by worth times how sure the finding is.")
    rest = rows[most:] if most is not None else []
    if rest:
        tonnes = sum(row.lost_t or 0.0 for row in rest)
        more = f"{len(rest)} more, {tonnes:.1f} t together"
        say(f"{more}: see the report, or lostpol findings {mill}.")


def _verdicts(view: ReportView) -> dict[str, str]:
    """What people said, by finding."""
    if "verdict" not in view.findings.columns:
        return {}
    pairs = view.findings.select("finding_id", "verdict").drop_nulls().rows()
    return {name: verdict.replace("_", " ") for name, verdict in pairs}


def _noted(view: ReportView, rows: list[FindingRow]) -> dict[str, str]:
    """What was noted beforehand of the hours of findings, by finding."""
    if not view.known:
        return {}
    from pipeline.charts import in_hours  # noqa: PLC0415

    found = {row.raw_id: in_hours(view.known, row.started, row.ended) for row in rows}
    return {
        name: "noted: " + ", ".join(dict.fromkeys(item.words.split(",")[0] for item in known))
        for name, known in found.items()
        if known
    }


def _table(rows: list[FindingRow], verdicts: dict[str, str], noted: dict[str, str]) -> Table:
    table = Table(title="Where sucrose was lost, most worth acting on first", show_lines=True)
    for name, side in (
        ("", "right"),
        ("When (mill time)", "left"),
        ("Why and where", "left"),
        ("Lost, 90 % interval", "right"),
        ("Worth", "right"),
        ("How sure", "left"),
    ):
        table.add_column(name, justify=side)  # type: ignore[arg-type]
    for row in rows:
        table.add_row(
            str(row.number),
            Text(f"{row.when}\n{row.lasted}, {row.status}, id {row.finding_id}"),
            Text("\n".join(filter(None, (row.cause.name, row.where, noted.get(row.raw_id))))),
            Text(row.mass.replace(" (", "\n(")),
            Text(row.worth.replace(" (", "\n(")),
            Text("\n".join(filter(None, (row.confidence, verdicts.get(row.raw_id))))),
        )
    return table
