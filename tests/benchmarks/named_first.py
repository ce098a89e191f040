"""Is the tag named first one that the fault acted on? Findings of simulated mills, event by event.

    python tests/benchmarks/named_first.py --seeds 300 301 [--keep FOLDER]

An event counts as found where a finding and it share half of the time that either covers. A name is
right where its tags are among those that the simulator lets the event act on directly; of a heater
and what it heats only the one upstream, where it is measured. Printed: each wrong name, and shares
by cause.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from pathlib import Path

import polars as pl
from periods import made

from pipeline.store import published_store_of

#: Tags that each event acts on in `models/simulator/effects.py`: the first group that is measured.
ACTED_ON = {
    "low_limed_ph": (("LT.AI212", "LT.FI211"),),
    "ph_probe_high": (("LT.AI212",),),
    "standing_juice": (("ML.WI001", "MJ.FI101"), ("ST.FI301",)),
    "slow_throughput": (("ML.WI001", "MJ.FI101"), ("ST.FI301",)),
    "overheating": (("CH.TI411",), ("EV.TI501",)),
    "mud_held": (("ST.FI306", "ST.LI305"),),
    "microbial": (("PH.TI201",), ("LT.TI214",)),
    "tank_held": (("CT.LI401",),),
}


def event_of(finding: dict, events: list[dict]) -> dict | None:
    """The planted loss that a finding shares half of the time with, of its own cause first."""
    best: tuple[tuple[bool, float], dict] | None = None
    for event in events:
        start = max(event["start_utc"], finding["started"])
        both = (min(event["end_utc"], finding["ended"]) - start).total_seconds()
        first = min(event["start_utc"], finding["started"])
        either = (max(event["end_utc"], finding["ended"]) - first).total_seconds()
        key = (event["cause"] == finding["cause"], both / either)
        if key[1] >= 0.5 and (best is None or key > best[0]):
            best = (key, event)
    return None if best is None else best[1]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, nargs="+", default=[300, 301])
    parser.add_argument("--keep", type=Path)
    given = parser.parse_args()
    rows = []
    with tempfile.TemporaryDirectory(prefix="lostpol_named_") as name:
        folder = given.keep or Path(name)
        for seed in given.seeds:
            mill = made(seed, folder)
            tags = {signal.tag for signal in mill.station.signals}
            events = pl.read_parquet(folder / f"mill{seed}" / "events.parquet")
            losses = events.filter(pl.col("kind") == "loss").to_dicts()
            for finding in published_store_of(mill).findings().to_dicts():
                event = event_of(finding, losses)
                if event is None:
                    continue
                groups = ACTED_ON[event["cause"]]
                right = next((set(g) & tags for g in groups if set(g) & tags), set())
                named = json.loads(finding["evidence"]).get("named") or {}
                first = (named.get("tags") or ["nothing"])[0]
                rows.append({"cause": event["cause"], "right": first in right})
                if first not in right:
                    print(f"mill {seed}, {finding['finding_id']}, planted {event['cause']}, "
                          f"found {finding['cause']}: {first}, not {sorted(right)}")  # fmt: skip
    frame = pl.DataFrame(rows)
    print(frame.group_by("cause").agg(pl.len(), pl.col("right").mean()).sort("cause"))
    print(f"named first and right: {frame['right'].sum()} of {frame.height} "
          f"({100 * frame['right'].mean():.0f} %; wanted 85)")  # fmt: skip


if __name__ == "__main__":
    main()
