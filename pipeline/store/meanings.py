"""Words for every table, view and column of the findings store.

``COMMENT ON`` takes them into the file, from where ``lostpol dictionary`` reads them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

_EPISODE: Final = {
    "finding_id": "Name of the finding, the same in every run",
    "mill": "Key of the mill",
    "rank": "Place in the list, 1 is most worth acting on",
    "section": "Vessel with most of the loss, or train",
    "cause": "Cause that the evidence names, or unexplained",
    "status": "open (to the end of data) or ended",
    "mark": "listed, or confident: sure enough for the strict list",
    "verdict": "What a person said: confirmed, dismissed, fixed, look_again; null: nothing yet",
    "started_local": "First minute of the loss, by the mill's clock",
    "ended_local": "End of the loss, by the mill's clock",
    "time_zone": "IANA zone of the mill's clock",
    "hours": "How long it lasted [h]",
    "lost_t": "Sucrose lost beyond the unavoidable [t]",
    "lost_t_low": "Lower end of the 90 % interval [t]",
    "lost_t_high": "Upper end of the 90 % interval [t]",
    "worth": "lost_t at the mill's price of sucrose [currency]",
    "currency": "ISO 4217 code of worth",
}
CHEMIST_COLUMNS: Final = {name: _EPISODE[name] for name in _EPISODE if name != "mill"} | {
    "mill_name": "Name of the mill",
    "sure_pct": "How sure the finding is [%]",
    "why": "The first three facts that carry it",
    "note": "What the person wrote with the verdict; untrusted text",
    "author": "Who gave the verdict; untrusted text",
}
ANALYST_COLUMNS: Final = _EPISODE | {
    "day_local": "Day on which it started, by the mill's clock",
    "week_local": "Monday of the week in which it started, by the mill's clock",
    "worth_low": "lost_t_low at the mill's price [currency]",
    "worth_high": "lost_t_high at the mill's price [currency]",
    "lost_pct": "Share of the sucrose fed meanwhile [%]",
    "lost_t_per_day": "lost_t over its length [t/day]",
    "confidence": "How sure the finding is, 0 to 1",
    "p_value": "Chance of such an episode where nothing is lost",
    "q_value": "Share of false findings among all at least as sure",
    "share_ph": "Part of the excess due to pH [fraction]; negative where pH held it down",
    "share_temperature": "Part due to temperature [fraction]",
    "share_volume": "Part due to volume held [fraction]",
    "share_throughput": "Part due to throughput [fraction]",
    "share_brix": "Part due to Brix [fraction]",
    "share_microbes": "Part due to microbes [fraction]",
    "multiplier": "Factor on the published inversion rate in that run",
    "multiplier_low": "Lower end of its 90 % interval",
    "multiplier_high": "Upper end of its 90 % interval",
    "first_seen": "End of data of the run that first found it (UTC)",
    "last_seen": "End of data of the run that last judged it (UTC)",
    "run_id": "Run that last wrote it",
}
RELIABILITY_COLUMNS: Final = {
    name: _EPISODE[name]
    for name in (
        *("finding_id", "mill", "rank", "section", "cause", "status", "mark", "verdict"),
        *("started_local", "ended_local", "time_zone"),
    )
} | {
    "kind": "fact, driver (its share), alternative (another cause) or uncertainty (of lost_t)",
    "what": "The fact in words, or the name of driver, cause or error",
    "value": "Its number; share and weight 0 to 1, uncertainty as relative standard deviation",
    "unit": "Unit of value; empty for none",
}
SENSORS_TO_SERVICE: Final = {
    "mill": "Key of the mill",
    "tag": "Name in the exports; untrusted text",
    "quantity": "What it measures",
    "place": "Where in the station",
    "days_unwell": "Days that were not good, of the seven before the last day with data",
    "worst": "Worst verdict on those days: silent, sick or watch",
    "last_day": "Last of those days (UTC)",
    "good_pct": "Share of its readings that were good on those days, mean [%]",
    "drift": "pH: reading less laboratory on the last of those days [pH]",
    "drift_sd": "Standard error of drift [pH]",
    "what_is_wrong": "In words, from the last of those days",
}
_COMMENTS: Final[Mapping[str, Mapping[str, str]]] = {
    "mills": {
        "mill": "Key of the mill",
        "name": "Its name",
        "zone": "IANA zone of its clock",
        "currency": "ISO 4217 code of price_per_t",
        "price_per_t": "Worth of sucrose [currency/t]",
    },
    "findings": {
        "finding_id": "Name of the finding, the same in every run",
        "mill": "Key of the mill",
        "cause": "Cause that the evidence names, or unexplained",
        "currency": "ISO 4217 code of value",
        "evidence": "Facts, shares, alternatives, uncertainty and what verdicts changed, as JSON",
    },
    "runs": {
        "run_id": "Name of the run, from readings, description, version and window",
        "mill": "Key of the mill",
        "flow": "What asked for it: nightly, weekly or backfill",
        "config_hash": "Hash of what in the description can change a finding",
        "inputs_hash": "Hash of the readings of the window",
        "versions": "Versions of lostpol and its libraries, as JSON",
        "multiplier_low": "Lower end of the 90 % interval of multiplier",
        "multiplier_high": "Upper end of the 90 % interval of multiplier",
        "finished_at": "Wall clock; null while it runs",
        "state": "running, finished or failed",
    },
    "sources": {
        "mill": "Key of the mill",
        "sha256": "Hash of the content of the file",
        "name": "Name of the file; untrusted text",
        "bytes": "Size of the file [bytes]",
        "layout": "Layout of the description it was read by",
        "rows_read": "Rows, or cells of a wide file, that were read",
        "rows_kept": "Rows that were stored",
        "refused_by_reason": "Refused rows by reason, as JSON",
        "first_ts": "First moment in the file (UTC)",
        "last_ts": "Last moment in the file (UTC)",
    },
    "pending_days": {"mill": "Key of the mill", "day": "UTC day"},
    "sensor_health": {
        "mill": "Key of the mill",
        "day": "UTC day",
        "tag": "Name in the exports; untrusted text",
        "quantity": "What it measures",
        "place": "Where in the station",
        "readings": "Readings of the day",
        "good": "Of these, good ones",
        "spikes": "Single readings far from their neighbours",
        "out_of_range": "Readings that cannot be",
        "frozen": "Readings of a value that did not move",
        "longest_gap_min": "Longest time without a reading [min]",
    },
    "source_marks": {
        "mill": "Key of the mill",
        "source": "Name of the direct source",
        "read_until": "Readings before this moment were read (UTC)",
    },
    "for_chemist": CHEMIST_COLUMNS,
    "for_analyst": ANALYST_COLUMNS,
    "for_reliability": RELIABILITY_COLUMNS,
    "sensors_to_service": SENSORS_TO_SERVICE,
}
_ABOUT: Final = {
    "TABLE mills": "One row per mill, as last described",
    "VIEW for_chemist": "For the chief chemist: what to act on, first rank first, in plain columns",
    "VIEW for_analyst": "For the analyst: one row a finding, with all that can be summed",
    "VIEW for_reliability": "For the reliability engineer: the evidence of a finding, row by row",
    "VIEW sensors_to_service": "For the reliability engineer: sensors unwell of late",
}


def comments() -> str:
    """``COMMENT ON`` statements for all of these words."""
    about = [f"COMMENT ON {what} IS {_quoted(text)};" for what, text in _ABOUT.items()]
    columns = [
        f"COMMENT ON COLUMN {table}.{name} IS {_quoted(text)};"
        for table, words in _COMMENTS.items()
        for name, text in words.items()
    ]
    return "\n".join([*about, *columns])


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
