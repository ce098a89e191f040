"""Tables beside the readings: a mill's list of tags, and its table of vessels."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import polars as pl

from pipeline.cells import folded
from pipeline.files import is_number, plain_name
from pipeline.intake import Table, numbers, texts
from pipeline.mill import is_unit
from pipeline.places import parts_of

#: A list of tags that holds fewer of the exported tags than this share of itself, or of them, is
#: likely that of another station (estimate).
_LEAST_SHARE: Final = 0.3
_VOLUME: Final = ("m3", "m³", "vol", "capac", "cabida", "contenance")
#: Words (`pipeline.places.words`) that name a vessel together, the more particular ones first.
_VESSELS: Final = (
    (frozenset({"clear_tank"}), "clear_juice_tank"),
    (frozenset({"clear", "tank"}), "clear_juice_tank"),
    (frozenset({"clear_heater"}), "clear_juice_heater"),
    (frozenset({"clear", "heater"}), "clear_juice_heater"),
    (frozenset({"primary_heater"}), "primary_heater"),
    (frozenset({"primary", "heater"}), "primary_heater"),
    (frozenset({"secondary_heater"}), "secondary_heater"),
    (frozenset({"secondary", "heater"}), "secondary_heater"),
    (frozenset({"flash"}), "flash_tank"),
    (frozenset({"liming_tank"}), "liming_tank"),
    (frozenset({"liming"}), "liming_tank"),
    (frozenset({"limed", "tank"}), "liming_tank"),
    (frozenset({"first_evap"}), "first_evaporator"),
    (frozenset({"evaporator"}), "first_evaporator"),
    (frozenset({"clarifier"}), "settler"),
)
#: No vessel of a mill is as large as this [m3, m2] (estimate).
_MOST_M3: Final = 2e4
_AREA: Final = ("m2", "m²", "area", "surf", "superf")


@dataclass(frozen=True)
class TagList:
    """What a list says of tags; `met` of its `total` are among those exported."""

    name: str
    words: Mapping[str, str]
    units: Mapping[str, str]
    met: int
    total: int

    @property
    def fits(self) -> bool:
        """It is a list of these tags."""
        return self.met >= _LEAST_SHARE * self.total or self.met >= 10


@dataclass(frozen=True)
class Size:
    """Volume and settling area of a vessel, as a table of the mill gives them."""

    volume_m3: float
    area_m2: float | None = None
    called: str = ""


@dataclass(frozen=True)
class Sizes:
    """Sizes by vessel of a station."""

    name: str
    of: Mapping[str, Size] = field(default_factory=dict)
    #: Rows with a volume that name no vessel of the station, or one of several.
    others: tuple[str, ...] = ()


def read_tag_list(table: Table, tags: Collection[str]) -> TagList | None:
    """What a table says of exported tags; None for one that is no list of tags.

    Parameters
    ----------
    table : Table
        A table without moments.
    tags : collection of str
        Tags that the exports hold.
    """
    rows = table.rows
    if rows.width < 2 or not rows.height:
        return None
    cells = {name: texts(rows[name]) for name in rows.columns}
    met = {name: int(column.is_in(list(tags)).sum()) for name, column in cells.items()}
    best = max(met, key=lambda name: met[name])
    if not met[best]:
        return _of_others(table, cells)
    units = next((n for n in cells if n != best and _holds_units(cells[n])), None)
    told = [n for n in cells if n not in (best, units) and not _is_numeric(cells[n])]
    words: dict[str, str] = {}
    unit_of: dict[str, str] = {}
    for k, tag in enumerate(cells[best].to_list()):
        if tag in tags:
            words[tag] = " ".join(cells[n][k] for n in told if cells[n][k])
            if units is not None and cells[units][k]:
                unit_of[tag] = cells[units][k]
    total = int((cells[best] != "").sum())
    return TagList(table.name, words, unit_of, met[best], total)


def _of_others(table: Table, cells: Mapping[str, pl.Series]) -> TagList | None:
    """A list of tags of which none is exported: known by its column of units."""
    units = [n for n in cells if _holds_units(cells[n])]
    apart = [n for n in cells if cells[n].n_unique() == table.rows.height > 2]
    if not units or not apart:
        return None
    return TagList(table.name, {}, {}, 0, table.rows.height)


def _holds_units(column: pl.Series) -> bool:
    words = column.filter(column != "").unique().to_list()
    return bool(words) and 2 * sum(is_unit(w) for w in words) > len(words)


def _is_numeric(column: pl.Series) -> bool:
    words = column.filter(column != "")
    return bool(len(words)) and sum(is_number(w) for w in words.to_list()) > 0.8 * len(words)


def read_sizes(table: Table) -> Sizes | None:
    """Volumes and areas of vessels; None for a table that holds none.

    Parameters
    ----------
    table : Table
        One row a vessel: a name, its volume [m3], and its settling area [m2] where it has one.
    """
    volume = _column(table.rows.columns, _VOLUME)
    if volume is None:
        return None
    area = _column([c for c in table.rows.columns if c != volume], _AREA)
    size = numbers(table.rows[volume])
    areas = numbers(table.rows[area]) if area is not None else None
    wordy = [c for c in table.rows.columns if c not in (volume, area)]
    found: dict[str, Size] = {}
    others: list[str] = []
    for k in range(table.rows.height):
        called = " ".join(t for c in wordy if (t := texts(table.rows[c])[k]) and not is_number(t))
        place = vessel_named(called)
        if not 0.0 < size[k] < _MOST_M3:
            others += [f"{called} (no volume that can be)"] if called else []
            continue
        if place is None:
            others.append(called)
            continue
        more = found.get(place, Size(0.0))
        square = float(areas[k]) if areas is not None and 0.0 < areas[k] < _MOST_M3 else None
        # Vessels side by side of one kind are taken together.
        total = (more.area_m2 or 0.0) + square if square is not None else more.area_m2
        both = f"{more.called}, {called}" if more.called else called
        found[place] = Size(more.volume_m3 + float(size[k]), total, both)
    return Sizes(table.name, found, tuple(others)) if found else None


def vessel_named(text: str) -> str | None:
    """Vessel of the station that a text names; None for none, or for one of several."""
    readings = [reading for reading in parts_of(text).readings if "late_evap" not in reading]
    for concepts, vessel in _VESSELS:
        if any(concepts <= reading for reading in readings):
            return vessel
    return None


def _column(names: Sequence[str], words: Sequence[str]) -> str | None:
    for name in names:
        text = folded(name)
        if any(word in text or word in plain_name(name) for word in words):
            return name
    return None
