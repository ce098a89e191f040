"""What the lake holds after the exports were pulled, against what they say."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import polars as pl

from first_hour.score_draft import Score, matched
from first_hour.spec import Truth
from pipeline.base import LostpolError
from pipeline.lake import Lake
from pipeline.mill import Mill, load_mill

_KEY = ["name", "ts_utc"]


def _held(mill: Mill, names: dict[str, str]) -> pl.DataFrame:
    """Readings of the lake by the names of the truth, one row a moment: value null where bad."""
    lake = Lake(mill.lake_path).read_readings(date(2000, 1, 1), date(2100, 1, 1))
    return lake.filter(pl.col("tag").is_in(list(names))).select(
        pl.col("tag").cast(pl.String).replace(names).alias("name"),
        pl.col("ts_utc").dt.cast_time_unit("ms"),
        pl.when(~pl.col("bad")).then("value").alias("held"),
    )


def _inside(mill: Mill, rows: pl.DataFrame, name: str, unit: str) -> pl.DataFrame:
    """True values in the unit that the lake keeps."""
    scale = mill.scales[name]
    try:
        change = scale.found(unit).change or scale.described
    except KeyError:
        change = scale.described
    return rows.with_columns(pl.col("value") * change.scale + change.offset)


def _names(mill: Mill, truth: Truth) -> tuple[dict[str, str], dict[str, str]]:
    """Drafted names by the truth's name, and the unit of each by the truth's name."""
    names, units = {}, {}
    for name in mill.scales:
        if name in truth.tags:
            names[name], units[name] = name, truth.tags[name].unit
    for name, true in matched(dict.fromkeys(mill.scales), truth).items():
        if name not in truth.tags:
            names[name], units[true.names[0]] = true.names[0], true.unit
    return names, units


def against(held: pl.DataFrame, true: pl.DataFrame) -> dict[str, int]:
    """How many moments of a file are held right, otherwise, or not as good readings.

    Where a determination was repeated any of its values will do, and none.
    """
    near = (pl.col("held") - pl.col("value")).abs() <= 1e-6 * pl.max_horizontal(
        pl.col("value").abs(), 1e-3
    )
    moments = (
        true.join(held, on=_KEY, how="left")
        .group_by(_KEY)
        .agg(
            pl.col("held").first(),
            near.fill_null(value=False).any().alias("fits"),
            pl.col("value").drop_nulls().n_unique().alias("values"),
        )
    )
    there = pl.col("held").is_not_null()
    return {
        "right": moments.filter("fits").height,
        "other": moments.filter(there, ~pl.col("fits")).height,
        "lost": moments.filter(~there, pl.col("values") == 1).height,
    }


def _nothing_to_hold(truth: Truth, rows: pl.DataFrame) -> bool:
    """Whether a file is of tags without a place alone, so that no draft has to name them."""
    names = set(rows["name"].unique())
    return names <= truth.tags.keys() and all(truth.tags[n].point is None for n in names)


def score_files(toml: Path, truth: Truth, pulls: dict[str, tuple[int, str]]) -> Score:
    """Each export: exact, refused or asked about, wrong, or of nothing that was drafted."""
    score = Score()
    try:
        mill = load_mill(toml)
    except LostpolError as error:
        for name in pulls:
            score.add("file refused", f"{name}: the draft is no description: {str(error)[:300]}")
        return score
    names, units = _names(mill, truth)
    held = _held(mill, names)
    back = {true: drafted for drafted, true in names.items()}
    every = pl.concat([r for r in truth.readings.values() if r is not None]).select(_KEY).unique()
    strange = held.join(every, on=_KEY, how="anti")
    for file, (code, said) in pulls.items():
        true = truth.readings[file]
        assert true is not None
        known = true.filter(pl.col("name").is_in(list(back)))
        if _nothing_to_hold(truth, true):
            score.add("file outside")
        elif code != 0:
            score.add("file refused", f"{file}: {' '.join(said.split())[:300]}")
        elif known.is_empty():
            score.add("file idle", f"{file}: none of its names is in the draft")
        else:
            parts = [
                _inside(mill, rows, back[str(k[0])], units[str(k[0])])
                for k, rows in known.group_by(["name"])
            ]
            found = against(held, pl.concat(parts))
            own = strange.filter(pl.col("name").is_in(known["name"].unique().to_list()))
            found["strange"] = own.height
            exact = found["other"] + found["lost"] + found["strange"] == 0
            why = f"{file}: {found}, e.g. {own.head(1).rows()}" if not exact else ""
            score.add("file exact" if exact else "file wrong", why)
    return score
