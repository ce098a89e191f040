"""Columns of the derived frames: type, unit and meaning of each, and their check."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

TIME = pl.Datetime("us", "UTC")


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a derived frame.

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


def _number(unit: str, description: str) -> Column:
    return Column(pl.Float64(), unit, description)


_MINUTE = Column(TIME, "UTC", "Start of the minute.", nullable=False)

STATION_COLUMNS: dict[str, Column] = {
    "ts_utc": _MINUTE,
    "flow_feed_m3_h": _number("m3/h", "Juice fed to the station."),
    "brix_feed_pct": _number("%", "Brix of the juice fed."),
    "purity_feed_pct": _number("%", "Apparent purity of the juice fed."),
    "sucrose_feed_kg_h": _number("kg/h", "Sucrose fed; target Brix or purity where unmeasured."),
    "ph_mixed": _number("pH", "Mixed juice, as of a cooled sample."),
    "ph_limed": _number("pH", "Limed juice, as of a cooled sample."),
    "ph_clear": _number("pH", "Clear juice, as of a cooled sample."),
    "ph_limed_at_clear": _number("pH", "Limed-juice pH the juice now leaving the settler had."),
    "ph_drop_settler": _number("pH", "Limed pH of the leaving juice minus its clear pH."),
    "residence_train_min": _number("min", "Mean time in the train of the juice now leaving it."),
    "exposure_train_eqmin100": _number(
        "min at 100 degC", "Heat the juice now leaving the train took up, by inversion rate."
    ),
    "inverted_pred_pct": _number(
        "% of sucrose",
        "Inverted between liming and settler outlet in the juice now leaving the settler; "
        "published rate, multiplier 1.",
    ),
    "rs_destroyed_pred_pct": _number(
        "% of RS", "Reducing sugars destroyed on the same way in the same juice."
    ),
    "inverted_train_pct": _number(
        "% of sucrose",
        "Inverted along the whole clear-juice way in the juice now leaving the train; "
        "published rate, multiplier 1.",
    ),
    "turbidity_clear": _number("NTU", "Turbidity of clear juice."),
    "lime_l_h": _number("L/h", "Milk of lime added."),
    "flocculant_l_h": _number("L/h", "Flocculant solution added."),
    "imbibition_m3_h": _number("m3/h", "Imbibition water."),
    "cane_t_h": _number("t/h", "Cane rate."),
    "stopped": Column(
        pl.Boolean(), "-", "Feed below 10 % of its target; null where the feed is unknown."
    ),
}

ZONE_COLUMNS: dict[str, Column] = {
    "ts_utc": _MINUTE,
    "zone": Column(
        pl.String(), "-", "Vessel; '<settler>:mud' is the mud zone of a settler.", nullable=False
    ),
    "temp_degc": _number("degC", "Juice temperature in the zone."),
    "ph_cold": _number("pH", "Mean pH in the zone, as of a cooled sample."),
    "ph_hot": _number("pH", "The same at the zone's temperature."),
    "brix_pct": _number("%", "Brix in the zone, carried by parcel unless measured."),
    "volume_m3": _number("m3", "Volume the juice reaches, at the level of the minute."),
    "flow_in_m3_h": _number("m3/h", "Flow into the zone."),
    "flow_out_m3_h": _number("m3/h", "Flow out of the zone; a settler's overflow only."),
    "residence_min": _number("min", "Mean time in the zone of the sucrose now leaving."),
    "residence_sd_min": _number("min", "Standard deviation of that time."),
    "sucrose_held_kg": _number("kg", "Sucrose in the zone."),
    "inversion_1_h": _number("1/h", "Inversion rate, mean over the zone, multiplier 1."),
    "loss_kg_h": _number("kg/h", "Sucrose inverted in the zone, multiplier 1."),
    "loss_ref_kg_h": _number("kg/h", "Loss the sucrose fed now would meet at targets."),
    "excess_kg_h": _number(
        "kg/h", "Loss above ref_kg_h, so above what is unavoidable at this throughput."
    ),
    "rs_made_kg_h": _number("kg/h", "Reducing sugars made in the zone by inversion, multiplier 1."),
    "rs_destroyed_kg_h": _number("kg/h", "Reducing sugars destroyed in the zone."),
    "exposure_eqmin100": _number("min at 100 degC", "Heat the leaving juice took up in the zone."),
    "f_ph": _number("-", "Factor of the loss due to pH."),
    "f_temp": _number("-", "Factor of the loss due to temperature, its effect on pH included."),
    "f_brix": _number("-", "Factor of the loss due to Brix."),
    "f_volume": _number("-", "Factor of the loss due to the volume held."),
    "f_flow": _number("-", "Feed over target feed; 0 in a stop."),
    "w_ph_limed": _number("-", "Weight of the limed-juice probe in the zone's pH."),
    "w_ph_clear": _number("-", "Weight of the clear-juice probe in the zone's pH."),
    "ref_kg_h": _number(
        "kg/h",
        "Unavoidable at this throughput: loss with pH, temperature, Brix and level at their "
        "targets and the juice's own sucrose. Juice in a vessel inverts at whatever flow.",
    ),
}


def polars_schema(columns: dict[str, Column]) -> pl.Schema:
    """Polars schema of a derived frame.

    Parameters
    ----------
    columns : dict of str to Column
        `STATION_COLUMNS` or `ZONE_COLUMNS`.

    Returns
    -------
    polars.Schema
        Names and types in order.
    """
    return pl.Schema({name: column.dtype for name, column in columns.items()})


def check_frame(frame: pl.DataFrame, columns: dict[str, Column]) -> pl.DataFrame:
    """Check that a frame has the columns, types and nulls its schema allows.

    Parameters
    ----------
    frame : polars.DataFrame
        Frame to check.
    columns : dict of str to Column
        `STATION_COLUMNS` or `ZONE_COLUMNS`.

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
