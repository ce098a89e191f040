"""Where the formulas behind a loss are stated to hold, and how much of a loss lies outside.

A rate is not cut off where its range ends: juice at 55 degC loses little, not nothing. What is
carried on is counted instead, in minutes and as a share of the loss, and told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import polars as pl

from features.base import Column, Columns, Numeric, polars_schema

INVERSION: Final = "inversion of sucrose"
DESTRUCTION: Final = "destruction of reducing sugars"
DENSITY: Final = "density of juice"


@dataclass(frozen=True, slots=True)
class Range:
    """Range of one input of a formula.

    Attributes
    ----------
    formula : str
        What the formula tells.
    column : str
        Column of the zone minutes that holds the input.
    what, unit : str
        The input in words, and its unit.
    low, high : float
        Where the formula is stated to hold, both ends included [unit].
    """

    formula: str
    column: str
    what: str
    unit: str
    low: float
    high: float

    def beyond(self, value: Numeric) -> Numeric:
        """Whether a value lies outside; False where it is not known."""
        return (value < self.low) | (value > self.high)

    @property
    def amount(self) -> str:
        """Column of the zone minutes with what the formula makes of its inputs [kg/h]."""
        return "rs_destroyed_kg_h" if self.formula == DESTRUCTION else "loss_kg_h"


#: Inversion: Vukov 1965, range from memory. Destruction: the pH of practice (7 and 8, common
#: practice; 6 to 9 estimate), and from the practice's own 97 degC down to 80 (estimate) and up to
#: 140, to which Nolasco 2006 measured (confirmed). Density: Brix as the polynomial is stated
#: (memory); to 130 degC its water part meets IAPWS (computed).
RANGES: Final = (
    Range(INVERSION, "temp_degc", "temperature", "degC", 60.0, 130.0),
    Range(INVERSION, "ph_hot", "pH of the hot juice", "", 4.0, 8.0),
    Range(DESTRUCTION, "temp_degc", "temperature", "degC", 80.0, 140.0),
    Range(DESTRUCTION, "ph_cold", "pH of a cooled sample", "", 6.0, 9.0),
    Range(DENSITY, "temp_degc", "temperature", "degC", 0.0, 130.0),
    Range(DENSITY, "brix_pct", "Brix", "%", 0.0, 85.0),
)

#: What is said of a formula before the range of an input.
_HOLDS: Final = {
    INVERSION: "the published kinetics hold",
    DESTRUCTION: "the destruction of reducing sugars is known",
    DENSITY: "the density of juice is known",
}
#: What `beyond_ranges` gives.
BEYOND_COLUMNS: Columns = {
    "zone": Column.text("Vessel or mud zone."),
    "formula": Column.text("What the formula tells."),
    "input": Column.text("Which of its inputs lay outside."),
    "unit": Column.text("Unit of that input."),
    "low": Column.number("unit", "Where the formula is stated to hold from."),
    "high": Column.number("unit", "Where it is stated to hold to."),
    "seen_low": Column.number("unit", "Least of the inputs outside."),
    "seen_high": Column.number("unit", "Greatest of the inputs outside."),
    "minutes": Column.count("Minutes outside."),
    "of_minutes": Column.count("Minutes of that zone whose input is known."),
    "beyond_kg": Column.number("kg", "What the formula made in the minutes outside, multiplier 1."),
    "zone_kg": Column.number("kg", "What it made in that zone in all."),
    "all_kg": Column.number("kg", "What it made in all zones."),
}
_KEYS: Final = ["zone", "formula", "input", "unit", "low", "high"]


def beyond_ranges(zone_minutes: pl.DataFrame) -> pl.DataFrame:
    """Count the minutes in which inputs of the formulas lie outside their range, by zone.

    Parameters
    ----------
    zone_minutes : polars.DataFrame
        As `features.flow.derive` makes them.

    Returns
    -------
    polars.DataFrame
        Columns of `BEYOND_COLUMNS`; a row for every zone, formula and input, so that days may be
        added by `together`. A minute may count in several rows.
    """
    parts = [_of_range(zone_minutes, one) for one in RANGES]
    return pl.concat(parts).cast(polars_schema(BEYOND_COLUMNS))


def _of_range(zones: pl.DataFrame, one: Range) -> pl.DataFrame:
    value, kg = pl.col(one.column), pl.col(one.amount) / 60.0
    outside = one.beyond(value).fill_null(value=False)
    counted = zones.group_by("zone", maintain_order=True).agg(
        seen_low=value.filter(outside).min(),
        seen_high=value.filter(outside).max(),
        minutes=outside.sum(),
        of_minutes=value.count(),
        beyond_kg=kg.filter(outside).sum(),
        zone_kg=kg.sum(),
    )
    return counted.with_columns(
        formula=pl.lit(one.formula),
        input=pl.lit(one.what),
        unit=pl.lit(one.unit),
        low=pl.lit(one.low),
        high=pl.lit(one.high),
        all_kg=pl.col("zone_kg").sum(),
    ).select(list(BEYOND_COLUMNS))


def together(parts: Iterable[pl.DataFrame]) -> pl.DataFrame:
    """Join counts of several periods into one.

    Parameters
    ----------
    parts : iterable of polars.DataFrame
        As `beyond_ranges` gives them.

    Returns
    -------
    polars.DataFrame
        Columns of `BEYOND_COLUMNS`, rows with no minute outside left out.
    """
    sums = ("minutes", "of_minutes", "beyond_kg", "zone_kg", "all_kg")
    joined = pl.concat([pl.DataFrame(schema=polars_schema(BEYOND_COLUMNS)), *parts])
    return (
        joined.group_by(_KEYS, maintain_order=True)
        .agg(pl.col("seen_low").min(), pl.col("seen_high").max(), pl.col(*sums).sum())
        .filter(pl.col("minutes") > 0)
        .select(list(BEYOND_COLUMNS))
    )


def beyond_words(met: Mapping[str, Sequence[float]]) -> tuple[str, ...]:
    """Say which of some conditions lie outside the ranges of the formulas.

    Parameters
    ----------
    met : mapping of str to sequence of float
        Values met, by the columns that `RANGES` names; a column may lack.

    Returns
    -------
    tuple of str
        A line for each input that lay outside at any time.
    """
    found = []
    for one in RANGES:
        values = met.get(one.column, ())
        if any(one.beyond(value) for value in values):
            unit = f" {one.unit}".rstrip()
            what = "juice temperature" if one.column == "temp_degc" else one.what
            found.append(
                f"{what} {min(values):.3g} to {max(values):.3g}{unit}; "
                f"{_HOLDS[one.formula]} from {one.low:g} to {one.high:g}{unit}"
            )
    return tuple(found)
