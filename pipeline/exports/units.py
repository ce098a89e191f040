"""Units that stand in an export, against those of the mill's description.

A unit written in the export is nearer to the number than the description: where it is a unit of
the tag's quantity it is used, and a difference is told. A unit that is not known, or that is none
of this tag, or that takes more to convert than the export says, is asked about; it is never left
out as if nobody had said it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Protocol, runtime_checkable

import polars as pl

from pipeline.base import DataError, said
from pipeline.exports.evidence import Evidence
from pipeline.files import shown
from pipeline.mill import Found, Scale, UnitChange

#: Texts in the place of a unit that say nothing of it.
_NO_UNIT: Final = frozenset(
    ("", "-", "--", "1", "n/a", "na", "none", "null", "nil", "unitless", "dimensionless", "ohne",
     "sin unidad", "sem unidade", "sans unité", "adim", "adimensional", ".")
)  # fmt: skip
#: A mark behind so many of a tag's numbers is its unit, or means something.
_MOST_MARKED: Final = 0.5
_MARKED_LEAST: Final = 3


class _Tags(Protocol):
    @property
    def unit_changes(self) -> Mapping[str, UnitChange]:
        """Every tag and lab series of the mill, with its change of unit."""


@runtime_checkable
class KnowsUnits(Protocol):
    """A mill that knows which units the quantity of a tag can have."""

    def change_from(self, tag: str, unit: str) -> UnitChange | None:
        """Change of an exported `unit` to the inside unit of `tag`; None for no unit of it."""


@runtime_checkable
class KnowsScales(Protocol):
    """A mill that also knows densities and heights."""

    @property
    def scales(self) -> Mapping[str, Scale]:
        """What is known of the unit of each tag and lab series."""


def change_of(clock: object, tag: str, unit: str | None) -> Found:
    """What a unit means for a tag; None for the unit of the description."""
    if isinstance(clock, KnowsScales) and tag in clock.scales:
        scale = clock.scales[tag]
        return scale.found(scale.unit if unit is None else unit)
    if unit is not None and isinstance(clock, KnowsUnits):
        return Found(clock.change_from(tag, unit))
    return Found(None)


def says_unit(clock: object, tag: str, text: str) -> bool:
    """Tell whether a text is a unit that the tag can have, or could with more known."""
    found = change_of(clock, tag, text)
    return text.strip().casefold() not in _NO_UNIT and (
        found.change is not None or bool(found.lacking)
    )


def in_inside_unit(
    frame: pl.DataFrame,
    clock: _Tags,
    evidence: Evidence,
    given: Mapping[str, str] | None = None,
    where: str = "",
) -> pl.DataFrame:
    """Values after the change of unit of their row or tag.

    Parameters
    ----------
    frame : polars.DataFrame
        ts_utc, tag, value, bad, reason, kind, unit, suffix (String, null for none): the unit that
        the table states, and what stands behind the number itself.
    clock : MillClock
    evidence : Evidence
        Told of units that differ from the description or change in the table.
    given : mapping of str to str, optional
        Units by tag, or by unit as written, that answer what the table leaves open.
    where : str, optional
        For messages.

    Returns
    -------
    polars.DataFrame
        The same rows. A number marked only by the unit behind it is sound.

    Raises
    ------
    DataError
        A unit can mean two things.
    """
    pairs = frame.select("tag", "unit", "suffix").unique(maintain_order=True)
    asker = _Asker(frame, clock, evidence, given or {}, where)
    changes = [asker.change(tag, unit, suffix) for tag, unit, suffix in pairs.iter_rows()]
    pairs = pairs.with_columns(
        pl.Series("scale", [c.scale for c, _ in changes], dtype=pl.Float64),
        pl.Series("offset", [c.offset for c, _ in changes], dtype=pl.Float64),
        pl.Series("understood", [u for _, u in changes], dtype=pl.Boolean),
    )
    if pairs["understood"].any():
        told = pairs.filter(pl.col("understood")).select(
            "tag", unit=pl.coalesce("suffix", "unit")
        )  # fmt: skip
        evidence.note_units(
            frame.with_columns(unit=pl.coalesce("suffix", "unit")), list(told.iter_rows())
        )
    if all(c == UnitChange() for c, _ in changes) and not pairs["understood"].any():
        return frame
    joined = frame.join(
        pairs, on=["tag", "unit", "suffix"], how="left", nulls_equal=True, maintain_order="left"
    )
    sound = (pl.col("kind") == "marked") & pl.col("understood") & pl.col("suffix").is_not_null()
    sound = sound.fill_null(value=False) & ~pl.col("reason").str.starts_with("~")
    return joined.with_columns(
        value=pl.col("value") * pl.col("scale") + pl.col("offset"),
        bad=pl.col("bad") & ~sound,
        reason=pl.when(~sound).then("reason"),
    )


class _Asker:
    """Finds what the units of a batch mean, and asks where they can mean two things."""

    def __init__(
        self,
        frame: pl.DataFrame,
        clock: _Tags,
        evidence: Evidence,
        given: Mapping[str, str],
        where: str,
    ) -> None:
        self._frame, self._clock, self._evidence = frame, clock, evidence
        self._given, self._where = given, where

    def change(self, tag: str, unit: str | None, suffix: str | None) -> tuple[UnitChange, bool]:
        """Change of unit of some rows, and whether the export's own unit gave it."""
        described = self._clock.unit_changes.get(tag, UnitChange())
        if not isinstance(self._clock, KnowsScales | KnowsUnits):
            return described, False
        if tag in self._given:
            found = change_of(self._clock, tag, self._given[tag])
            is_unit = suffix is not None and (
                suffix == self._given[tag] or change_of(self._clock, tag, suffix).change is not None
            )
            return self._told(tag, self._given[tag], found, described), is_unit
        if suffix is not None:
            return self._behind(tag, unit, suffix, described)
        if unit is None or unit.strip().casefold() in _NO_UNIT:
            return described, False
        meant = self._given.get(unit, unit)
        found = change_of(self._clock, tag, meant)
        if found.change is None or not (found.sure or unit in self._given):
            raise self._question(tag, meant, found)
        return self._told(tag, unit, found, described), True

    def _behind(
        self, tag: str, unit: str | None, suffix: str, described: UnitChange
    ) -> tuple[UnitChange, bool]:
        """Change for numbers with something behind them: a unit, else a mark."""
        meant = self._given.get(suffix, suffix)
        found = change_of(self._clock, tag, meant)
        if found.change is not None and (found.sure or suffix in self._given):
            return self._told(tag, suffix, found, described), True
        of_tag = pl.col("tag") == tag
        alike = self._frame.filter(of_tag & (pl.col("suffix") == suffix)).height
        numbers = self._frame.filter(of_tag & pl.col("value").is_not_null()).height
        if alike >= _MARKED_LEAST and alike > _MOST_MARKED * numbers:
            raise self._question(tag, suffix, found, behind=True)
        return self.change(tag, unit, None)[0], False

    def _told(self, tag: str, unit: str, found: Found, described: UnitChange) -> UnitChange:
        change = found.change if found.change is not None else described
        if change != described:
            self._evidence.note(
                f'{shown(tag)}: the export says "{shown(unit)}", the description another unit; '
                "converted from the export's."
            )
        if found.assumed:
            self._evidence.note(f'{shown(tag)}: from "{shown(unit)}": {found.assumed}.')
        return change

    def _question(self, tag: str, unit: str, found: Found, *, behind: bool = False) -> DataError:
        """Build the question what a unit means."""
        rows = self._frame.filter((pl.col("tag") == tag) & pl.col("value").is_not_null())
        value = f"{rows['value'][0]:g}" if rows.height else "?"
        own = self._described_unit(tag)
        told, name = shown(unit), shown(tag)
        here = said('in "{unit}", as the export says', unit=told)
        if found.change is not None:
            inside = f"{found.change.apply(rows['value'][0]):.4g}" if rows.height else "?"
            here = said(
                'in "{unit}", as the export says, which makes {inside} ({assumed})',
                unit=told,
                inside=inside,
                assumed=found.assumed,
            )
        lacking = {
            "height_m": said(
                "To read it as a height, add height_m, the height that counts as full, to "
                '[tags."{name}"]. ',
                name=name,
            ),
            "density_kg_m3": said(
                "To read it as a mass, add density_kg_m3, the density of what flows, to "
                '[tags."{name}"]. ',
                name=name,
            ),
        }.get(found.lacking, "")
        mark = ""
        if behind:
            mark = said(
                ' A mark that leaves a number sound goes into harmless_marks = ["{mark}"].',
                mark=told,
            )
        return DataError(
            said(
                "Numbers of {name} such as {value} can be {here}, or {own}, as the description "
                "says.",
                name=name,
                value=value,
                here=here,
                own=own,
            ),
            f'{self._where}\n{name}: "{told}"',
            said(
                '{lacking}Say which it is: units = { "{name}" = "..." } in the [[exports.layout]] '
                "of this kind of file, with a unit that lostpol knows.{mark}",
                lacking=lacking,
                name=name,
                mark=mark,
            ),
        )

    def _described_unit(self, tag: str) -> str:
        if isinstance(self._clock, KnowsScales) and tag in self._clock.scales:
            return f'in "{shown(self._clock.scales[tag].unit)}"'
        return "in its described unit"
