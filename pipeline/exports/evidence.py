"""What a table shows only as a whole: fillers, clock jumps, changed units, still values.

Only fillers change a reading (they become bad); the rest is told to the person, because the
numbers alone cannot prove it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

import polars as pl

from pipeline.exports.clock import ClockWatch
from pipeline.files import shown

#: A filler must come this often, and this many times the width of all other readings away from
#: them (estimates).
_FILLER_TIMES: Final = 3
_FILLER_WIDTHS: Final = 1.0
_OTHERS_LEAST: Final = 5
#: Numbers that stand for "no reading" (common practice): all nines, minus one, ends of the
#: ranges of whole numbers. No other number is ever taken for a filler on evidence.
_FILLERS: Final = frozenset(
    sign * number
    for number in (
        *(10.0**k - 1 for k in range(3, 10)),
        999.9, 9999.9, 999.99, 9999.99, 999.25,
        32767.0, 32768.0, 65535.0, 2147483647.0, 2147483648.0, 4294967295.0,
    )
    for sign in (1.0, -1.0)
) | {-1.0, -99.0, -99.9, -99.99}  # fmt: skip
_HUGE: Final = 1e30
#: Conversions by which a record may change its unit halfway: what, scale, offset.
_CHANGES: Final = (
    ("degC to degF", 1.8, 32.0),
    ("degF to degC", 1 / 1.8, -32 / 1.8),
    ("degC to K", 1.0, 273.15),
    ("K to degC", 1.0, -273.15),
    *((f"one unit to another, {k:g} times as large", k, 0.0) for k in (1e3, 100.0, 60.0, 3.6)),
    *((f"one unit to another, {k:g} times as small", 1 / k, 0.0) for k in (1e3, 100.0, 60.0, 3.6)),
)
_CHANGE_CLOSE: Final = 0.03
_STILL_LEAST: Final = 50
_MOST_NOTES: Final = 100


class Evidence:
    """What the batches of one table have shown so far."""

    def __init__(self) -> None:
        self._notes: dict[str, None] = {}
        self._fillers: dict[str, set[float]] = {}
        self._filled: dict[tuple[str, float], int] = {}
        self._clock = ClockWatch()
        self._units: dict[str, dict[str, datetime]] = {}
        self._levels: list[pl.DataFrame] = []

    def note(self, text: str) -> None:
        """Keep a line for the person, once."""
        if len(self._notes) < _MOST_NOTES:
            self._notes[text] = None

    def notes(self) -> list[str]:
        """All there is to tell of the table."""
        lines = list(self._notes)
        lines += [
            f"{shown(tag)}: {value:g} stands for no reading {count} times."
            for (tag, value), count in sorted(self._filled.items())
        ]
        lines += self._clock.notes()
        for tag, units in sorted(self._units.items()):
            if len(units) > 1:
                since = sorted(units.items(), key=lambda item: item[1])
                parts = ", ".join(f"{shown(u)} from {t:%Y-%m-%d %H:%M} UTC" for u, t in since)
                lines.append(f"{shown(tag)}: the unit changes: {parts}.")
        return lines + self._level_notes()

    # Fillers ----------------------------------------------------------------------------------

    def without_fillers(self, frame: pl.DataFrame, given: Sequence[float] | None) -> pl.DataFrame:
        """Mark fillers: the numbers given, or those that the record shows to be none of its own.

        Parameters
        ----------
        frame : polars.DataFrame
            tag, value, bad, reason, kind; others are left alone.
        given : sequence of float or None
            None looks for evidence.
        """
        if given is None:
            self._find_fillers(frame)
            pairs = [(t, v) for t, values in self._fillers.items() for v in values]
        else:
            pairs = [(t, v) for t in frame["tag"].unique() for v in given]
        if not pairs:
            return frame
        known = pl.DataFrame(pairs, schema={"tag": pl.String, "value": pl.Float64}, orient="row")
        hit = frame.select("tag", "value").join(
            known.with_columns(filler=pl.lit(value=True)),
            on=["tag", "value"],
            how="left",
            maintain_order="left",
        )["filler"].fill_null(value=False)  # fmt: skip
        if not hit.any():
            return frame
        for tag, value, count in (
            frame.filter(hit).group_by("tag", "value").len().sort("tag", "value").iter_rows()
        ):
            self._filled[tag, value] = self._filled.get((tag, value), 0) + count
        word = pl.format("filler {}", pl.col("value").cast(pl.String).str.replace(r"\.0$", ""))
        return frame.with_columns(
            kind=pl.when(hit).then(pl.lit("filler")).otherwise("kind"),
            reason=pl.when(hit).then(word).otherwise("reason"),
            bad=pl.col("bad") | hit,
            value=pl.when(~hit).then("value"),
        )

    def _find_fillers(self, frame: pl.DataFrame) -> None:
        """Add fillers that this batch gives evidence of."""
        ends = frame.filter(pl.col("value").is_not_null()).group_by("tag").agg(
            low=pl.col("value").min(), high=pl.col("value").max()
        )  # fmt: skip
        for tag, low, high in ends.iter_rows():
            if not (looks_filled(low) or looks_filled(high)):
                continue
            values = frame.filter((pl.col("tag") == tag) & pl.col("value").is_not_null())["value"]
            odd = values.is_in(list(_FILLERS)) | (values.abs() >= _HUGE)
            others = values.filter(~odd)
            if len(others) < _OTHERS_LEAST or others.n_unique() < 2:
                continue
            least, most = float(others.min()), float(others.max())  # type: ignore[arg-type]
            away = _FILLER_WIDTHS * (most - least)
            counts = values.filter(odd).value_counts()
            for value, count in counts.iter_rows():
                outside = value < least - away or value > most + away
                if outside and count >= _FILLER_TIMES:
                    self._fillers.setdefault(tag, set()).add(value)

    # Order and level --------------------------------------------------------------------------

    def watch(self, readings: pl.DataFrame) -> None:
        """Look at the order and level of the readings of a batch."""
        if readings.is_empty():
            return
        self._clock.watch(readings)
        level = readings.filter(~pl.col("bad")).group_by(
            "tag", at=pl.col("ts_utc").dt.truncate("1h")
        )  # fmt: skip
        self._levels.append(
            level.agg(
                middle=pl.col("value").median(),
                low=pl.col("value").min(),
                high=pl.col("value").max(),
                count=pl.len(),
            )
        )

    # Levels -----------------------------------------------------------------------------------

    def note_units(self, frame: pl.DataFrame, pairs: Sequence[tuple[str, str]]) -> None:
        """Remember since when each tag has which unit."""
        if not pairs:
            return
        first = frame.filter(pl.col("unit").is_not_null()).group_by("tag", "unit").agg(
            pl.col("ts_utc").min()
        )  # fmt: skip
        wanted = set(pairs)
        for tag, unit, since in first.sort("ts_utc").iter_rows():
            if (tag, unit) in wanted:
                seen = self._units.setdefault(tag, {})
                seen[unit] = min(since, seen.get(unit, since))

    def _level_notes(self) -> list[str]:
        """Tags that never move while others do, and tags whose level changes like a unit."""
        if not self._levels:
            return []
        hours = pl.concat(self._levels)
        notes = []
        whole = hours.group_by("tag").agg(
            pl.col("low").min(), pl.col("high").max(), pl.col("count").sum()
        )  # fmt: skip
        still = whole.filter((pl.col("low") == pl.col("high")) & (pl.col("count") >= _STILL_LEAST))
        if still.height < whole.height:
            notes = [
                f"{shown(tag)}: all {count} readings are {low:g} while other tags move."
                for tag, low, _, count in still.sort("tag").iter_rows()
            ]
        for part in hours.sort("tag", "at").partition_by("tag", maintain_order=True):
            tag = part["tag"][0]
            if len(self._units.get(tag, ())) < 2 and (parts := _changed_level(part)):
                notes.append(f"{shown(tag)}: {parts}")
        return notes


def looks_filled(value: float) -> bool:
    """Tell whether a number is one that may stand for "no reading"."""
    return value in _FILLERS or abs(value) >= _HUGE


def _changed_level(hours: pl.DataFrame) -> str | None:
    """What a tag's level says of a change of unit at one moment, if anything."""
    middle = hours["middle"].drop_nulls()
    if len(middle) < 4:
        return None
    step = int(middle.diff().abs().arg_max() or 0)
    before, after = middle[:step], middle[step:]
    if len(before) < 2 or len(after) < 2:
        return None
    a, b = float(before.median()), float(after.median())  # type: ignore[arg-type]
    spread = max(float(before.std() or 0.0), float(after.std() or 0.0))  # type: ignore[arg-type]
    if abs(a) < 1e-9 or abs(b - a) < 0.3 * abs(a) or abs(b - a) < 5 * spread:
        return None
    for what, scale, offset in _CHANGES:
        if abs(b - (a * scale + offset)) <= _CHANGE_CLOSE * abs(b):
            since: datetime = hours.filter(pl.col("middle").is_not_null())["at"][step]
            return (
                f"readings go from about {a:.4g} to about {b:.4g} in the hour of "
                f"{since:%Y-%m-%d %H:%M} UTC, as {what} would."
            )
    return None
