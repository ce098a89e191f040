"""Four small folders in which something is wrong that a draft must not fall for.

Each tells what is wrong and what no description may say of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from first_hour.books import Book, pooled_rows, truth_of
from first_hour.make import Made, make
from first_hour.spec import (
    Content,
    MillSpec,
    Point,
    TagSpec,
    TagTruth,
    Truth,
    Written,
    lab_lines,
    tag_lines,
)
from first_hour.tables import Table, text_file
from first_hour.tag_files import Style, tag_list, wide_text


@dataclass(frozen=True)
class Wrong:
    """A folder with something wrong in it.

    Attributes
    ----------
    made : Made
        Files and what is true; of a swapped pair, what each probe truly measures.
    what : str
        What is wrong, in words.
    suspects : tuple of str
        Names of files or tags that a draft ought to speak of.
    """

    made: Made
    what: str
    suspects: tuple[str, ...]


_TAGS = """
MJ_Flow      | mj_flow   | m3/h | regular
MJ_Temp      | mj_temp   | degC | regular
Cane_Rate    | cane      | t/h  | regular
PriHtr_Temp  | ph_temp   | degC | regular
Lime_Flow    | lime      | L/h  | regular
LimedJuice_pH | lj_ph    | pH   | regular
Liming_Level | lt_level  | %    | regular
SecHtr_Temp  | sh_temp   | degC | regular
Clarifier_Feed | st_flow | m3/h | regular
Mud_Flow     | mud_flow  | m3/h | regular
Clarifier_Temp | st_temp | degC | regular
ClearJuice_pH | cj_ph    | pH   | regular
ClearJuice_Tank_Level | ct_level | % | regular
ClearJuice_Flow_Evap | ct_flow | m3/h | regular
Boiler_Press | x:boiler_bar | bar g | regular
"""
_LAB = lab_lines("""
MJ | MJ | pH   | ph   | pH
MJ | MJ | Brix | brix | %
LJ | LJ | pH   | ph   | pH
CJ | CJ | pH   | ph   | pH
CJ | CJ | Brix | brix | %
""")
_OTHER_LIST = tag_lines("""
BX_900.01 | cane    | t/h  | regular | Cane weigher, east yard
BX_900.02 | mj_flow | m3/h | regular | Mixed juice flow
BX_901.07 | lj_ph   | pH   | regular | Limed juice pH
BX_901.08 | cj_ph   | pH   | regular | Clear juice pH
BX_904.01 | sh_temp | degC | regular | Juice heater outlet temperature
Boiler_Press | x:boiler_bar | bar g | regular | Clear juice to evaporators
""")


def _write(content: Content, folder: Path, names: dict[str, str]) -> list[Written]:
    """Trends with some tags under other names, and the book as it should be."""
    tags = tuple(replace(t, name=names.get(t.name, t.name)) for t in content.spec.tags)
    records = content.records.with_columns(pl.col("tag").replace(names))
    spoken = replace(content, spec=replace(content.spec, tags=tags), records=records)
    style = Style()
    files = wide_text(spoken, folder / "trends.csv", ("Time", "", "Unit"), "tu", style)
    rows = pooled_rows(content, Book(sample=("Sampled",)))
    text_file(folder / "lab.csv", rows)
    return [*files, Written(folder / "lab.csv", truth_of(content, pooled=True))]


def _pooled(content: Content, folder: Path) -> list[Written]:
    """Limed and clear juice sampled together, in one column, with nothing to tell them apart."""
    files = _write(content, folder, {})[:1]
    limed, clear = (
        next(i for i, s in enumerate(content.spec.lab) if (s.at, s.analyte) == (at, "ph"))
        for at in ("LJ", "CJ")
    )
    both = content.local(content.results.filter(pl.col("series").is_in([limed, clear])))
    # Taken on one round: both carry the hour of the round.
    rounds = both.with_columns(pl.col("local").dt.round("4h")).sort("local", "series")
    cells = rounds.unique(["local", "series"], keep="first", maintain_order=True).select(
        pl.col("local").dt.strftime("%Y-%m-%d %H:%M"), "text"
    )
    text_file(folder / "ph_round.csv", Table([["Round", "pH"]], cells))
    nothing = pl.DataFrame(schema={"name": pl.String, "ts_utc": pl.Datetime("ms", "UTC"),
                                   "value": pl.Float64})  # fmt: skip
    return [*files, Written(folder / "ph_round.csv", nothing)]


def _swapped(content: Content, folder: Path) -> list[Written]:
    """The limed-juice probe is called clear-juice pH, and the other way round."""
    swap = {"LimedJuice_pH": "ClearJuice_pH", "ClearJuice_pH": "LimedJuice_pH"}
    return _write(content, folder, swap)


def _other_list(content: Content, folder: Path) -> list[Written]:
    """A list of tags of another mill: one of its names occurs here, for something else."""
    listed = tag_list(_OTHER_LIST, folder / "tag_list.xlsx", ("Tag", "Description", "Unit"))
    return [*_write(content, folder, {}), listed]


def _hot_filtrate(content: Content, folder: Path) -> list[Written]:
    """What is called mixed juice is filtrate: a tenth of the flow, and hot."""
    return _write(content, folder, {})


def _folder(
    root: Path, name: str, write: Callable[[Content, Path], list[Written]],
    tags: tuple[TagSpec, ...],
) -> Made:  # fmt: skip
    spec = MillSpec(
        0, "Wrong on purpose", "en", "Africa/Johannesburg", 415,
        datetime(2025, 6, 15, 22, tzinfo=UTC), tags, _LAB, write, every_s=120, days=5,
    )  # fmt: skip
    return make(spec, root / name)


def _truly(made: Made, tags: dict[str, TagTruth]) -> Made:
    """The same files, with some names told by what they truly show."""
    truth = Truth({**made.truth.tags, **tags}, made.truth.lab, made.truth.readings)
    return replace(made, truth=truth)


def _swapped_truth(made: Made) -> Made:
    limed, clear = "LimedJuice_pH", "ClearJuice_pH"
    tags = made.truth.tags
    return _truly(made, {limed: tags[clear], clear: tags[limed]})


def _filtrate_truth(made: Made) -> Made:
    temp = TagTruth("degC", "any", Point("temperature", "filtrate"))
    return _truly(made, {"MJ_Temp": temp})


def wrong_on_purpose(root: Path) -> dict[str, Wrong]:
    """Write the four folders below `root`."""
    usual = tag_lines(_TAGS)
    # The course of the filtrate under the name of mixed juice, and the temperature of a hot juice.
    hot = {"MJ_Flow": "filtrate", "MJ_Temp": "mud_temp"}
    filtrate = tuple(replace(t, kind=hot.get(t.name, t.kind)) for t in usual)
    return {
        "two_juices_one_column": Wrong(
            _folder(root, "two_juices_one_column", _pooled, usual),
            "two juices of different pH in one column, two values at one moment",
            ("ph_round.csv",),
        ),
        "swapped_probes": Wrong(
            _swapped_truth(_folder(root, "swapped_probes", _swapped, usual)),
            "the names of the limed-juice and clear-juice pH are swapped",
            ("LimedJuice_pH", "ClearJuice_pH"),
        ),
        "list_of_another_mill": Wrong(
            _folder(root, "list_of_another_mill", _other_list, usual),
            "the list of tags is another mill's; its one name that occurs means something else",
            ("tag_list.xlsx", "Boiler_Press"),
        ),
        "filtrate_called_mixed_juice": Wrong(
            _filtrate_truth(_folder(root, "filtrate_called_mixed_juice", _hot_filtrate, filtrate)),
            "the meter called mixed juice shows a tenth of the juice, and it is hot",
            ("MJ_Flow", "MJ_Temp"),
        ),
    }
