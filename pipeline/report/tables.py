"""Rows of the report's tables: findings, notices and the health of the data, all in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.report.view import ReportView, vessel_kinds
from pipeline.words import (
    CauseWords,
    as_utc,
    clean,
    confidence_words,
    count,
    duration_words,
    feed_share,
    figure,
    joined,
    known,
    money,
    notice_words,
    percent,
    said,
    section_words,
    sensor_words,
    span_words,
    status_words,
    stored,
    stream_words,
    tonnes,
    words_of,
)

_LONGEST_TEXT = 300
_QUANTITIES = {
    "ph": said("pH"),
    "flow": said("flow"),
    "temperature": said("temperature"),
    "level": said("level"),
    "mud_level": said("mud level"),
    "brix": said("Brix"),
    "turbidity": said("turbidity"),
    "conductivity": said("conductivity"),
    "steam_pressure": said("steam pressure"),
    "cane_rate": said("cane rate"),
    "imbibition_flow": said("imbibition flow"),
    "lime_flow": said("lime flow"),
    "flocculant_flow": said("flocculant flow"),
}
#: Tags with at least this share of bad readings get a row of their own [%].
_MUCH_BAD = 1.0


@dataclass(frozen=True, slots=True)
class FindingRow:
    """One finding in words, with what its card and chart need."""

    number: int
    anchor: str
    raw_id: str
    finding_id: str
    code: str
    cause: CauseWords
    section: str
    where: str
    when: str
    lasted: str
    mass: str
    share: str
    worth: str
    confidence: str
    status: str
    withdrawn: bool
    lost_t: float | None
    low_t: float | None
    high_t: float | None
    started: datetime
    ended: datetime
    evidence: object


def finding_rows(view: ReportView, *, as_given: bool = False) -> list[FindingRow]:
    """All findings, standing ones by rank, withdrawn ones last.

    Parameters
    ----------
    view : ReportView
    as_given : bool
        In the order they are given in, each with its rank as its number.
    """
    if as_given:
        return [_finding(view, row["rank"] or 0, row) for row in view.findings.to_dicts()]
    ordered = view.findings.with_columns(
        (pl.col("status") == "withdrawn").fill_null(value=False).alias("_gone")
    ).sort("_gone", "rank", "lost_t", descending=[False, False, True], nulls_last=True)
    return [_finding(view, number, row) for number, row in enumerate(ordered.to_dicts(), start=1)]


def _finding(view: ReportView, number: int, row: dict[str, object]) -> FindingRow:
    zone = ZoneInfo(view.zone)
    started = _moment(row["started"]) or view.period_start
    ended = _moment(row["ended"])
    until = ended or max(as_utc(view.period_end), started)
    section = str(row["section"] or "")
    lost, low, high = (known(row[name]) for name in ("lost_t", "lost_t_low", "lost_t_high"))
    worth_low, worth_high = (None if v is None else v * view.price_per_t for v in (low, high))
    status = str(row["status"] or "")
    return FindingRow(
        number=number,
        anchor=f"finding-{number}",
        raw_id=str(row["finding_id"]),
        finding_id=clean(row["finding_id"], 20),
        code=str(row["cause"] or ""),
        cause=words_of(str(row["cause"] or "")),
        section=section,
        where=section_words(section, vessel_kinds(view)),
        when=span_words(started, ended, zone, _year(view)),
        lasted=duration_words(until - started),
        mass=tonnes(lost, low, high),
        share=feed_share(row["lost_pct"]),
        worth=money(row["value"], worth_low, worth_high, view.currency),
        confidence=confidence_words(known(row["confidence"])),
        status=status_words(status),
        withdrawn=status == "withdrawn",
        lost_t=lost,
        low_t=low,
        high_t=high,
        started=started,
        ended=until,
        evidence=row["evidence"],
    )


def _year(view: ReportView) -> int:
    """Year the page's heading names: it need not stand in every row."""
    return as_utc(view.period_start).astimezone(ZoneInfo(view.zone)).year


def _moment(value: object) -> datetime | None:
    return as_utc(value) if isinstance(value, datetime) else None


@dataclass(frozen=True, slots=True)
class NoticeRow:
    """One notice: when, what kind, what was seen."""

    when: str
    kind: str
    text: str


def notice_rows(view: ReportView) -> list[NoticeRow]:
    """Notices in time order."""
    if view.notices is None:
        return []
    zone = ZoneInfo(view.zone)
    rows = view.notices.sort("started", nulls_last=True).to_dicts()
    return [
        NoticeRow(
            span_words(
                _moment(row["started"]) or view.period_start,
                _moment(row["ended"]),
                zone,
                _year(view),
            ),
            notice_words(str(row["kind"] or "")),
            stored(clean(row["text"], _LONGEST_TEXT)),
        )
        for row in rows
    ]


@dataclass(frozen=True, slots=True)
class SourceRow:
    """One source of data: rows read and kept, and the refused ones by reason."""

    name: str
    read: str
    kept: str
    refused: str


def source_rows(view: ReportView) -> list[SourceRow]:
    """Sources with their refused rows by reason, most frequent reason first."""
    if view.sources is None:
        return []
    return [
        SourceRow(
            clean(row["source"]),
            count(row["rows_read"]),
            count(row["rows_kept"]),
            _refused(view.refused, row),
        )
        for row in view.sources.to_dicts()
    ]


def _refused(refused: pl.DataFrame | None, source: dict[str, object]) -> str:
    read, kept = known(source["rows_read"]), known(source["rows_kept"])
    lost = None if read is None or kept is None else read - kept
    if refused is None:
        return said("{lost} (reasons not recorded)", lost=count(lost)) if lost else said("none")
    reasons = refused.filter(pl.col("source") == source["source"]).sort("rows", descending=True)
    phrase = [
        said("{rows} {reason}", rows=count(r["rows"]), reason=clean(r["reason"]))
        for r in reasons.to_dicts()
    ]
    rest = (lost or 0) - sum(known(rows) or 0 for rows in reasons["rows"])
    if rest > 0:
        phrase.append(said("{rest} without a recorded reason", rest=count(rest)))
    return joined("; ", phrase) or said("none")


@dataclass(frozen=True, slots=True)
class TagRow:
    """One tag: readings, bad ones in number and share, and why."""

    name: str
    readings: str
    bad: str
    share: str
    reasons: str


@dataclass(frozen=True, slots=True)
class TagRows:
    """Tags much troubled (worst first) and a little, and how many had no bad reading."""

    much: list[TagRow]
    little: list[TagRow]
    clean: int


def tag_rows(view: ReportView) -> TagRows | None:
    """Tags by the share of their bad readings; None when no count was given."""
    if view.tags is None:
        return None
    share = 100 * pl.col("bad") / pl.col("readings").replace(0, None)
    frame = view.tags.with_columns(share.alias("_share")).sort(
        "_share", "tag", descending=[True, False], nulls_last=False
    )
    silent = pl.col("readings") == 0
    much = frame.filter(silent | (pl.col("_share") >= _MUCH_BAD))
    little = frame.filter(~silent & (pl.col("bad") > 0) & (pl.col("_share") < _MUCH_BAD))
    rows, few = ([_tag(row) for row in part.to_dicts()] for part in (much, little))
    return TagRows(rows, few, frame.height - much.height - little.height)


def _tag(row: dict[str, object]) -> TagRow:
    return TagRow(
        clean(row["tag"], 80),
        count(row["readings"]),
        count(row["bad"]),
        percent(row["_share"]),
        _reasons(clean(row.get("reasons"), _LONGEST_TEXT)),
    )


def _reasons(text: str) -> str:
    """Why readings were bad, such as ``8 spike, 7 bad quality``: numbers and reasons."""
    parts = (part.partition(" ") for part in text.split(", "))
    return joined(
        ", ",
        (
            said("{n} {reason}", n=figure(number), reason=stored(reason))
            if number.replace(",", "").isdigit()
            else said("{number} {reason}", number=number, reason=reason).strip()
            for number, _, reason in parts
        ),
    )


@dataclass(frozen=True, slots=True)
class SensorRow:
    """One sensor to look at: what it measures, how it stands, on how many days, and why."""

    tag: str
    measures: str
    verdict: str
    days: str
    why: str


def _measures(row: dict[str, object]) -> str:
    """What a sensor measures and where, as far as it is known."""
    name = clean(row.get("quantity"))
    quantity = _QUANTITIES.get(name, name.replace("_", " "))
    place = clean(row.get("place"))
    where = stream_words(place, "") if place else ""
    # Without an article between them, which three of the four languages would want.
    return said("{quantity}, {place}", quantity=quantity, place=where) if where else quantity


def sensor_rows(view: ReportView) -> list[SensorRow] | None:
    """Sensors that were not well, in the order given; None when nobody judged them."""
    if view.sensors is None:
        return None
    return [
        SensorRow(
            clean(row["tag"], 80),
            _measures(row),
            sensor_words(str(row["verdict"])),
            count(row["days"]),
            _why(row),
        )
        for row in view.sensors.to_dicts()
    ]


def _why(row: dict[str, object]) -> str:
    """Why a sensor is not well; without words of its own where they say the verdict again."""
    text = stored(clean(row["text"], _LONGEST_TEXT))
    return said("not one came in") if text == sensor_words(str(row["verdict"])) else text


def computed_share(view: ReportView) -> float | None:
    """Share of the period's minutes with a loss in at least one zone [%]."""
    span = as_utc(view.period_end) - as_utc(view.period_start)
    minutes = span.total_seconds() / 60
    if view.zone_minutes is None or minutes <= 0:
        return None
    start, end = view.period_start.astimezone(UTC), view.period_end.astimezone(UTC)
    inside = view.zone_minutes.filter(
        pl.col("ts_utc").is_between(start, end, closed="left") & pl.col("loss_kg_h").is_not_null()
    )
    return min(100.0, 100.0 * inside["ts_utc"].n_unique() / minutes)
