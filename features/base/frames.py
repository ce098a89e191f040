"""Columns of a frame: type, unit and meaning of each, and their check.

A frame that leaves its room is described once, as a ``..._COLUMNS`` beside what makes it. Its types
and the data dictionary follow from there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

TIME = pl.Datetime("us", "UTC")


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a frame.

    Attributes
    ----------
    dtype : polars data type
        Type in the frame.
    unit : str
        Unit in plain text, "-" for none.
    description : str
        What it is, for a data dictionary.
    nullable : bool
        Whether null is allowed (nothing measured, or a gap too long to bridge).
    """

    dtype: pl.DataType
    unit: str
    description: str
    nullable: bool = True

    @classmethod
    def number(cls, unit: str, description: str) -> Column:
        """Column of numbers in a unit."""
        return cls(pl.Float64(), unit, description)

    @classmethod
    def count(cls, description: str) -> Column:
        """Column of whole numbers."""
        return cls(pl.Int64(), "-", description)

    @classmethod
    def text(cls, description: str) -> Column:
        """Column of words."""
        return cls(pl.String(), "-", description)

    @classmethod
    def flag(cls, description: str) -> Column:
        """Column of yes and no."""
        return cls(pl.Boolean(), "-", description)

    @classmethod
    def moment(cls, description: str) -> Column:
        """Column of UTC times."""
        return cls(TIME, "UTC", description)


Columns = Mapping[str, Column]
MINUTE = Column(TIME, "UTC", "Start of the minute.", nullable=False)
TAG = Column.text("Name of the tag in the exports; untrusted text.")

STATION_COLUMNS: Columns = {
    "ts_utc": MINUTE,
    "flow_feed_m3_h": Column.number("m3/h", "Juice fed to the station."),
    "brix_feed_pct": Column.number("%", "Brix of the juice fed."),
    "purity_feed_pct": Column.number("%", "Apparent purity of the juice fed."),
    "sucrose_feed_kg_h": Column.number(
        "kg/h", "Sucrose fed; target Brix or purity where unmeasured."
    ),
    "ph_mixed": Column.number("pH", "Mixed juice, as of a cooled sample."),
    "ph_limed": Column.number("pH", "Limed juice, as of a cooled sample."),
    "ph_clear": Column.number("pH", "Clear juice, as of a cooled sample."),
    "ph_limed_at_clear": Column.number(
        "pH", "Limed-juice pH the juice now leaving the settler had."
    ),
    "ph_drop_settler": Column.number("pH", "Limed pH of the leaving juice minus its clear pH."),
    "residence_train_min": Column.number(
        "min", "Mean time in the train of the juice now leaving it."
    ),
    "exposure_train_eqmin100": Column.number(
        "min at 100 degC", "Heat the juice now leaving the train took up, by inversion rate."
    ),
    "inverted_pred_pct": Column.number(
        "% of sucrose",
        "Inverted between liming and settler outlet in the juice now leaving the settler; "
        "published rate, multiplier 1.",
    ),
    "rs_destroyed_pred_pct": Column.number(
        "% of RS", "Reducing sugars destroyed on the same way in the same juice."
    ),
    "inverted_train_pct": Column.number(
        "% of sucrose",
        "Inverted along the whole clear-juice way in the juice now leaving the train; "
        "published rate, multiplier 1.",
    ),
    "turbidity_clear": Column.number("NTU", "Turbidity of clear juice."),
    "lime_l_h": Column.number("L/h", "Milk of lime added."),
    "flocculant_l_h": Column.number("L/h", "Flocculant solution added."),
    "imbibition_m3_h": Column.number("m3/h", "Imbibition water."),
    "cane_t_h": Column.number("t/h", "Cane rate."),
    "stopped": Column.flag("Feed below 10 % of its target; null where the feed is unknown."),
}

ZONE_COLUMNS: Columns = {
    "ts_utc": MINUTE,
    "zone": Column(
        pl.String(), "-", "Vessel; '<settler>:mud' is the mud zone of a settler.", nullable=False
    ),
    "temp_degc": Column.number("degC", "Juice temperature in the zone."),
    "ph_cold": Column.number("pH", "Mean pH in the zone, as of a cooled sample."),
    "ph_hot": Column.number("pH", "The same at the zone's temperature."),
    "brix_pct": Column.number("%", "Brix in the zone, carried by parcel unless measured."),
    "volume_m3": Column.number("m3", "Volume the juice reaches, at the level of the minute."),
    "flow_in_m3_h": Column.number("m3/h", "Flow into the zone."),
    "flow_out_m3_h": Column.number("m3/h", "Flow out of the zone; a settler's overflow only."),
    "residence_min": Column.number("min", "Mean time in the zone of the sucrose now leaving."),
    "residence_sd_min": Column.number("min", "Standard deviation of that time."),
    "sucrose_held_kg": Column.number("kg", "Sucrose in the zone."),
    "inversion_1_h": Column.number("1/h", "Inversion rate, mean over the zone, multiplier 1."),
    "loss_kg_h": Column.number("kg/h", "Sucrose inverted in the zone, multiplier 1."),
    "loss_ref_kg_h": Column.number("kg/h", "Loss the sucrose fed now would meet at targets."),
    "excess_kg_h": Column.number(
        "kg/h", "Loss above ref_kg_h, so above what is unavoidable at this throughput."
    ),
    "rs_made_kg_h": Column.number(
        "kg/h", "Reducing sugars made in the zone by inversion, multiplier 1."
    ),
    "rs_destroyed_kg_h": Column.number("kg/h", "Reducing sugars destroyed in the zone."),
    "exposure_eqmin100": Column.number(
        "min at 100 degC", "Heat the leaving juice took up in the zone."
    ),
    "f_ph": Column.number("-", "Factor of the loss due to pH."),
    "f_temp": Column.number(
        "-", "Factor of the loss due to temperature, its effect on pH included."
    ),
    "f_brix": Column.number("-", "Factor of the loss due to Brix."),
    "f_volume": Column.number("-", "Factor of the loss due to the volume held."),
    "f_flow": Column.number("-", "Feed over target feed; 0 in a stop."),
    "w_ph_limed": Column.number("-", "Weight of the limed-juice probe in the zone's pH."),
    "w_ph_clear": Column.number("-", "Weight of the clear-juice probe in the zone's pH."),
    "ref_kg_h": Column.number(
        "kg/h",
        "Unavoidable at this throughput: loss with pH, temperature, Brix and level at their "
        "targets and the juice's own sucrose. Juice in a vessel inverts at whatever flow.",
    ),
}


def polars_schema(columns: Columns) -> pl.Schema:
    """Polars schema of a frame.

    Parameters
    ----------
    columns : mapping of str to Column
        Its description, such as `STATION_COLUMNS`.

    Returns
    -------
    polars.Schema
        Names and types in order.
    """
    return pl.Schema({name: column.dtype for name, column in columns.items()})


def check_frame(frame: pl.DataFrame, columns: Columns) -> pl.DataFrame:
    """Check that a frame has the columns, types and nulls its schema allows.

    Parameters
    ----------
    frame : polars.DataFrame
        Frame to check.
    columns : mapping of str to Column
        Its description, such as `STATION_COLUMNS`.

    Returns
    -------
    polars.DataFrame
        The frame as given.

    Raises
    ------
    ValueError
        Naming every fault found and what to do about it.
    """
    faults: list[str] = []
    for name, column in columns.items():
        if name not in frame.columns:
            faults.append(f"column {name} is missing: add it, filled with null if unmeasured")
            continue
        series = frame[name]
        if series.dtype != column.dtype:
            faults.append(f"column {name} is {series.dtype}: cast it to {column.dtype}")
        elif series.null_count() and not column.nullable:
            faults.append(f"column {name} has {series.null_count()} nulls: drop or fill them")
        elif series.dtype == pl.Float64() and series.is_nan().any():
            faults.append(f"column {name} holds NaN: turn NaN into null")
    extra = [name for name in frame.columns if name not in columns]
    if extra:
        faults.append(f"columns {', '.join(extra)} are not part of this frame: drop them")
    if faults:
        raise ValueError("frame does not fit its schema: " + "; ".join(faults))
    return frame
