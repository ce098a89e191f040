"""The index of all reports of a mill, and the reports themselves, as they lie in its store."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

from markupsafe import escape
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response

from pipeline.base import ConfigError
from pipeline.desk.desk import Desk
from pipeline.desk.guard import REPORT_POLICY
from pipeline.desk.tongues import page, tongue_here
from pipeline.mill import Mill
from pipeline.store import SAFE_ID, chosen, published_store_of
from pipeline.words import clean, day_words, moment_words, said, span_words, words_of

_TYPES: Final = {
    ".html": "text/html; charset=utf-8",
    ".pdf": "application/pdf",
    ".txt": "text/plain; charset=utf-8",
    ".csv": "text/csv; charset=utf-8",
    ".parquet": "application/vnd.apache.parquet",
}
_SAFE: Final = re.compile(r"[0-9A-Za-z][0-9A-Za-z_.-]{0,120}")
_PERIOD: Final = re.compile(r"(\d{8}T\d{4}Z)_(\d{8}T\d{4}Z)")
_NAMES: Final = {
    "nightly": said("Night"),
    "weekly": said("Week"),
    "backfill": said("Season"),
    "keeper": said("How sharp the search is"),
}
_MOST: Final = 2000
#: How reports write the name of a finding; text from outside has no such tags, it is escaped.
_BACK: Final = (said("The season at the desk"), said("All reports"))
_NAMED: Final = re.compile(r"<code>([0-9a-z]{1,64})</code>")


@dataclass(frozen=True)
class Report:
    """One report: what it is, when it was written, and its files with their addresses."""

    what: str
    of: str
    written: str
    files: tuple[tuple[str, str], ...]


def index(request: Request) -> Response:
    """All reports, dossiers and periods that are written."""
    desk: Desk = request.app.state.desk
    key = request.path_params["key"]
    kept = desk.of(key)
    base = f"/m/{key}"
    content = desk.page(key, "reports") | reports_view(kept.mill, base)
    return page(request, "reports.html.j2", content)


def reports_view(mill: Mill, base: str) -> dict[str, Any]:
    """What the index shows, the newest first."""
    home = mill.reports_path
    days = sorted((p for p in _folders(home) if p.name[:2] == "20"), reverse=True)
    reports = [report for day in days for report in _of_day(day, mill, base)]
    findings = published_store_of(mill).findings(withdrawn=True)
    dossiers = []
    for folder in sorted(_folders(home / "dossier"), key=_newest, reverse=True):
        files = _files_of(folder, "dossier", mill, base)
        if files:
            dossiers.append(Report(_finding_words(folder.name, findings, mill), folder.name,
                                   _written(folder, mill), files))  # fmt: skip
    periods = []
    for folder in sorted(_folders(home / "period"), key=_newest, reverse=True):
        match = _PERIOD.fullmatch(folder.name)
        files = _files_of(folder, "period", mill, base)
        if match and files:
            first, last = (datetime.strptime(f"{t}+0000", "%Y%m%dT%H%MZ%z") for t in match.groups())
            words = span_words(first, last, mill.tz)
            periods.append(Report(words, f"from={first:%Y-%m-%dT%H:%MZ}&to={last:%Y-%m-%dT%H:%MZ}",
                                  _written(folder, mill), files))  # fmt: skip
    return {"reports": reports[:_MOST], "dossiers": dossiers, "periods": periods}


def _folders(home: Path) -> list[Path]:
    if not home.is_dir():
        return []
    return sorted(p for p in home.iterdir() if p.is_dir() and _SAFE.fullmatch(p.name))


def _of_day(day: Path, mill: Mill, base: str) -> list[Report]:
    by_stem: dict[str, list[Path]] = {}
    for path in sorted(day.iterdir()):
        if path.suffix in _TYPES and _SAFE.fullmatch(path.name):
            by_stem.setdefault(path.stem, []).append(path)
    return [
        Report(
            _NAMES.get(stem, clean(stem, 60)),
            _day_words(day.name),
            _written(day, mill),
            tuple((p.suffix[1:], f"{base}/reports/{day.name}/{p.name}") for p in paths),
        )
        for stem, paths in by_stem.items()
    ]


def _day_words(name: str) -> str:
    """The day of a folder as people write it; a folder with another name keeps it."""
    try:
        day = date.fromisoformat(name)
    except ValueError:
        return name
    return day_words(day)


def _files_of(folder: Path, kind: str, mill: Mill, base: str) -> tuple[tuple[str, str], ...]:
    del mill
    return tuple(
        (p.name, f"{base}/reports/{kind}/{folder.name}/{p.name}")
        for p in sorted(folder.iterdir(), key=lambda p: (p.suffix != ".html", p.name))
        if p.suffix in _TYPES and _SAFE.fullmatch(p.name)
    )


def _newest(folder: Path) -> float:
    """When its newest file was written [s since 1970]; 0 without files."""
    return max((p.stat().st_mtime for p in folder.iterdir() if p.is_file()), default=0.0)


def _written(folder: Path, mill: Mill) -> str:
    moment = _newest(folder)
    return moment_words(datetime.fromtimestamp(moment, mill.tz), mill.tz) if moment else ""


def _finding_words(name: str, findings: Any, mill: Mill) -> str:  # noqa: ANN401
    try:
        row = chosen(findings, name, mill)
    except ConfigError:
        return said("A finding that is no longer known")
    when = span_words(row["started"], row["ended"], mill.tz)
    return said("{name}, {when}", name=words_of(str(row["cause"])).name, when=when)


def report(request: Request) -> Response:
    """A file of a report. A page of it has a policy of its own and reaches nothing of the desk."""
    desk: Desk = request.app.state.desk
    key = request.path_params["key"]
    mill = desk.of(key).mill
    parts = request.path_params["path"].split("/")
    if not parts or not all(_SAFE.fullmatch(part) for part in parts) or len(parts) > 3:
        raise _no_report("/".join(parts))
    home = mill.reports_path.resolve()
    path = home.joinpath(*parts).resolve()
    kind = _TYPES.get(path.suffix)
    if kind is None or not path.is_relative_to(home) or not path.is_file():
        if len(parts) == 3 and parts[0] == "dossier" and parts[2] == "dossier.html":
            return RedirectResponse(f"/m/{key}/finding/{parts[1]}/dossier", 303)
        raise _no_report("/".join(parts))
    headers = {"content-type": kind}
    if path.suffix == ".html":
        headers["content-security-policy"] = REPORT_POLICY
        known = published_store_of(mill).findings(withdrawn=True)["finding_id"].to_list()
        tongue = tongue_here(request)
        back = tongue(_BACK[0]), tongue(_BACK[1])
        text = linked(path.read_text(encoding="utf-8"), f"/m/{key}", known, back)
        return Response(text, headers=headers)
    if path.suffix in {".csv", ".parquet"}:
        headers["content-disposition"] = f'attachment; filename="{path.name}"'
    return FileResponse(path, headers=headers)


def linked(page: str, base: str, known: Sequence[str], back: tuple[str, str] = _BACK) -> str:
    """A report with ways back to the desk: on top, and from each finding it names."""
    season, reports = back
    ways = (
        f'<p><a href="{base}/">{escape(season)}</a> · '
        f'<a href="{base}/reports/">{escape(reports)}</a></p>'
    )
    page = page.replace("<body>", f"<body>{ways}", 1)
    safe = {name for name in known if SAFE_ID.fullmatch(name)}

    def to_finding(match: re.Match[str]) -> str:
        name = match[1]
        return f'<a href="{base}/finding/{name}">{match[0]}</a>' if name in safe else match[0]

    return _NAMED.sub(to_finding, page)


def _no_report(asked: str) -> ConfigError:
    return ConfigError(
        said("There is no such report."),
        clean(asked, 120),
        said("Choose one from the index of reports."),
    )
