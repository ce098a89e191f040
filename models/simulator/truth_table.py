"""The truth of a season as a table."""

from __future__ import annotations

from datetime import datetime

import polars as pl

from models.simulator.events import PlannedEvent


def truth_table(
    events: tuple[PlannedEvent, ...], lost: list[float], start_utc: datetime, *, shapes: bool
) -> pl.DataFrame:
    """What was planted, one row an event.

    Parameters
    ----------
    events : tuple of PlannedEvent
        In order of time.
    lost : list of float
        Tonnes of each [t].
    start_utc : datetime
        First moment of the season.
    shapes : bool
        Whether shape and company of every event are told, too.

    Returns
    -------
    polars.DataFrame
        event, kind, cause, zone, start_utc, end_utc, lost_t, and where asked for shape, kin.
    """
    hours = pl.DataFrame(
        {
            "event": [e.number for e in events],
            "kind": [e.kind for e in events],
            "cause": [e.cause for e in events],
            "zone": [e.zone for e in events],
            "start_utc": [round(e.start_h * 3600) * 1_000_000 for e in events],
            "end_utc": [round(e.end_h * 3600) * 1_000_000 for e in events],
            # Adding zero turns a rounded -0.0 into 0.0.
            "lost_t": [round(t, 4) + 0.0 for t in lost],
        },
        schema_overrides={
            "event": pl.Int64,
            "kind": pl.String,
            "cause": pl.String,
            "zone": pl.String,
            "start_utc": pl.Int64,
            "end_utc": pl.Int64,
            "lost_t": pl.Float64,
        },
    )
    when = pl.col("start_utc", "end_utc").cast(pl.Duration("us"))
    table = hours.with_columns(when + pl.lit(start_utc))
    if not shapes:
        return table
    words = {"shape": [e.shape for e in events], "kin": [e.kin for e in events]}
    more = pl.DataFrame(words, schema=dict.fromkeys(words, pl.String))
    return pl.concat([table, more], how="horizontal")
