"""A first notebook on the invented mill: cells that run one after the other.

    lostpol demo
    python sample_parquet/notebook.py lostpol_demo/demo_mill.toml

Every frame is in plant time; `m.columns(...)` says unit and meaning of its columns. Nothing is
written: a notebook may read while a night runs.
"""

# %% Open a mill, and see what there is
import sys

import polars as pl

from pipeline.notebook import open_mill

m = open_mill(sys.argv[1] if len(sys.argv) > 1 else "lostpol_demo/demo_mill.toml")
print(m.columns("minutes").filter(pl.col("column").str.contains("ph_|loss")))
print(m.tags().filter(pl.col("place") == "settler").select("tag", "what", "unit"))

# %% What was found, and the hours of the largest loss by too little lime
findings = m.findings()
sour = findings.filter(pl.col("cause") == "low_limed_ph").sort("lost_t", descending=True)
first, last = sour["started"][0], sour["ended"][0]
print(sour.select("finding_id", "started", "ended", "lost_t", "lost_t_low", "lost_t_high").head(3))

# %% The same hours minute by minute: did the pH fall where the loss rose?
minutes = m.minutes(first, last)
hourly = minutes.group_by_dynamic("time", every="1h").agg(
    pl.col("ph_limed_true", "loss_kg_h", "unavoidable_kg_h").mean()
)
print(hourly)

# %% Where it was lost, and by what
vessels = m.vessels(first, last)
by_vessel = vessels.group_by("zone", maintain_order=True).agg(
    pl.col("lost_kg_h", "usual_kg_h", "ph").sum() / 60.0
)
print(by_vessel.rename({"lost_kg_h": "lost_kg", "usual_kg_h": "usual_kg", "ph": "due_to_ph_kg"}))

# %% What the probe read, and what the laboratory found
probe = m.readings("LT.AI212", first, last).filter(~pl.col("bad"))
grabs = m.laboratory(first, last).filter(pl.col("analyte") == "ph")
print(probe.select(pl.col("value").mean().alias("limed pH, probe"), pl.len()))
print(grabs.group_by("what").agg(pl.col("value").mean(), pl.len()))

# %% What moved first
told = m.period(first, last)
print(told["sentence"])
print(told.frame("by_driver").head(3))

# %% What it would have been otherwise, and what that would have cost
again = m.replay(first, last, "ph_limed=+0.2")
print(
    f"saved {again['saved_t']:.2f} t ({again['saved_t_low']:.2f} to {again['saved_t_high']:.2f}) "
    f"of {again['recorded_t']:.2f} t"
)
print(again.frame("costs"))
# A set-point is changed by licensed and authorised people under site procedures and local codes.
