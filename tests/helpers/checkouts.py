"""A checkout with few days of exports in place of eight weeks: enough for a demonstration."""

from pathlib import Path

import polars as pl

ROOT = Path(__file__).resolve().parents[2]


def small_checkout(folder, tags, lab):
    """Fill `folder` with the demonstration's description and its exports of some time.

    Parameters
    ----------
    folder : Path
    tags : tuple of datetime
        First and last moment of readings, in UTC.
    lab : tuple of str
        The same of laboratory results, in local time as the sample writes it.
    """
    description, exports = Path("configs", "demo_mill.toml"), Path("sample_parquet")
    for kind in (description.parent, exports):
        (folder / kind).mkdir()
    text = (ROOT / description).read_text(encoding="utf-8")
    (folder / description).write_text(text, encoding="utf-8")
    week, results = (
        pl.read_parquet(ROOT / exports / f"{n}.parquet") for n in ("tags_week1", "lab")
    )
    week = week.filter(pl.col("time").is_between(*tags))
    results = results.filter(pl.col("sampled").is_between(*map(pl.lit, lab)))
    week.write_parquet(folder / exports / "tags_week1.parquet")
    results.write_parquet(folder / exports / "lab.parquet")
    return folder
