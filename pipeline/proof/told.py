"""The description that a simulated mill would write of itself: only of what it has and knows.

It is the template's, with this mill's tags and analyses alone, its own times between two values,
and volumes that are each some 8 % wrong. Of manners and biases it knows nothing. It is written as
a file and loaded like any other, so that every check of a description is passed.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np

from models.simulator import FILTRATE, TAGS, Habits, HardMill, PlantParameters, sampled
from pipeline.mill import Mill, load_mill

#: Volumes in a description are wrong by about this (estimate).
VOLUME_LOG_SD: Final = 0.08
#: Time between two values of recorders that do not watch for changes [s].
_FIXED_S: Final = {"averages": 60, "snapshots": 300}
_FILTRATE_FLOW: Final = {
    "quantity": "flow",
    "place": "filtrate",
    "unit": "m3/h",
    "range": [0.0, 150.0],
}
_EVAPORATOR_JUICE: Final = {"place": "first_evaporator", "port": "out"}
_EVAPORATOR_RANGES: Final = {"brix": [5.0, 40.0], "pol": [3.0, 35.0], "rs": [0.0, 8.0]}


def guessed_volumes(plant: PlantParameters, seed: int) -> dict[str, float]:
    """Volumes as the mill believes them [m3], by vessel; the mud's as ``settler:mud``."""
    rng = np.random.default_rng(np.random.SeedSequence([seed, 19]))
    true = {
        "liming_tank": plant.liming_m3,
        "settler": plant.settler_m3,
        "settler:mud": plant.mud_m3,
        "clear_juice_tank": plant.clear_tank_m3,
        "first_evaporator": plant.evaporator_m3,
    }
    wrong = np.exp(rng.normal(0.0, VOLUME_LOG_SD, size=len(true)))
    return {
        name: round(value * by, 1) for (name, value), by in zip(true.items(), wrong, strict=True)
    }


def described(template: Path, hard: HardMill, seed: int, series: list[str], folder: Path) -> Mill:
    """Write a mill's description beside its exports, and load it.

    Parameters
    ----------
    template : Path
        Description of a mill that has every tag and analysis.
    hard : HardMill
        The mill.
    seed : int
        Of the errors of its volumes.
    series : list of str
        Laboratory series in its exports.
    folder : Path
        Where description and store go.
    """
    raw = tomllib.loads(template.read_text(encoding="utf-8"))
    raw["mill"]["store"] = str(folder / "store")
    raw["tags"] = dict(_tags(raw["tags"], hard))
    raw["lab"] = dict(_lab(raw["lab"], series, hard.habits))
    volumes = guessed_volumes(hard.plant, seed)
    for vessel in raw["train"]:
        vessel["volume_m3"] = volumes.get(vessel["name"], vessel["volume_m3"])
        if "mud_volume_m3" in vessel:
            vessel["mud_volume_m3"] = volumes["settler:mud"]
    path = folder / "mill.toml"
    path.write_text("\n".join(_lines(raw)) + "\n", encoding="utf-8")
    return load_mill(path)


def _tags(tags: Mapping[str, Any], hard: HardMill) -> Iterator[tuple[str, dict[str, Any]]]:
    every_s = {tag.name: sampled(tag, hard.plant.sampling).every_s for tag in TAGS}
    slowest = _FIXED_S.get(hard.habits.recorder, 0)
    for name, keys in tags.items():
        if name in every_s and name not in hard.habits.lacks:
            yield name, keys | {"every_s": max(every_s[name], slowest)}
    manners = hard.plant.manners
    if manners and manners.filtrate_share and manners.filtrate_metered:
        every = max(sampled(FILTRATE, hard.plant.sampling).every_s, slowest)
        yield FILTRATE.name, _FILTRATE_FLOW | {"every_s": every}


def _lab(
    known: Mapping[str, Any], series: list[str], habits: Habits
) -> Iterator[tuple[str, dict[str, Any]]]:
    for name in sorted(series):
        _, point, analyte = name.split(" ")
        if point == "EV":
            keys = known[f"LAB EJ {analyte}"] | _EVAPORATOR_JUICE
            keys |= {"range": _EVAPORATOR_RANGES[analyte]}
        else:
            keys = known[name]
        gathered = habits.composite_h if analyte in _EVAPORATOR_RANGES else 0.0
        yield name, keys | ({"period_h": gathered} if gathered else {})


def _lines(raw: Mapping[str, Any], path: str = "") -> Iterator[str]:
    """Lines of a TOML file: plain keys first, then tables, then arrays of tables."""
    tables = {k: v for k, v in raw.items() if isinstance(v, dict)}
    arrays = {k: v for k, v in raw.items() if isinstance(v, list) and v and isinstance(v[0], dict)}
    for key, value in raw.items():
        if key not in tables and key not in arrays:
            # What JSON says of numbers, lists, truths and these plain texts, TOML says too.
            yield f"{json.dumps(key)} = {json.dumps(value)}"
    for key, table in tables.items():
        here = f"{path}{json.dumps(key)}"
        yield f"[{here}]"
        yield from _lines(table, f"{here}.")
    for key, items in arrays.items():
        for item in items:
            yield f"[[{path}{json.dumps(key)}]]"
            yield from _lines(item, f"{path}{json.dumps(key)}.")
