"""Units that stand in an export, against those of the mill's description.

A unit written in the export is nearer to the number than the description: where it is a unit of
the tag's quantity it is used, and a difference is told. Any other text is told too, and the
description holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol, runtime_checkable

import polars as pl

from pipeline.exports.evidence import Evidence
from pipeline.files import shown
from pipeline.mill import UnitChange, is_unit


class _Tags(Protocol):
    @property
    def unit_changes(self) -> Mapping[str, UnitChange]:
        """Every tag and lab series of the mill, with its change of unit."""


@runtime_checkable
class KnowsUnits(Protocol):
    """A mill that knows which units the quantity of a tag can have."""

    def change_from(self, tag: str, unit: str) -> UnitChange | None:
        """Change of an exported `unit` to the inside unit of `tag`; None for no unit of it."""


def in_inside_unit(frame: pl.DataFrame, clock: _Tags, evidence: Evidence) -> pl.DataFrame:
    """Values after the change of unit of their row or tag.

    Parameters
    ----------
    frame : polars.DataFrame
        ts_utc, tag, value, bad, reason, kind, unit (String, null for none).
    clock : MillClock
    evidence : Evidence
        Told of units that differ from the description or change in the table.

    Returns
    -------
    polars.DataFrame
        The same rows. A number marked only by the unit behind it is sound.
    """
    pairs = frame.select("tag", "unit").unique(maintain_order=True)
    changes = [_change(tag, unit, clock, evidence) for tag, unit in pairs.iter_rows()]
    pairs = pairs.with_columns(
        pl.Series("scale", [c.scale for c, _ in changes], dtype=pl.Float64),
        pl.Series("offset", [c.offset for c, _ in changes], dtype=pl.Float64),
        pl.Series("understood", [u for _, u in changes], dtype=pl.Boolean),
    )
    if pairs["unit"].null_count() < pairs.height:
        understood = pairs.filter(pl.col("understood")).select("tag", "unit")
        evidence.note_units(frame, list(understood.iter_rows()))
    if all(c == UnitChange() for c, _ in changes) and not pairs["understood"].any():
        return frame
    joined = frame.join(
        pairs, on=["tag", "unit"], how="left", nulls_equal=True, maintain_order="left"
    )
    sound = (pl.col("kind") == "marked") & pl.col("understood")
    sound = sound.fill_null(value=False) & ~pl.col("reason").str.starts_with("~")
    return joined.with_columns(
        value=pl.col("value") * pl.col("scale") + pl.col("offset"),
        bad=pl.col("bad") & ~sound,
        reason=pl.when(~sound).then("reason"),
    )


def _change(
    tag: str, unit: str | None, clock: _Tags, evidence: Evidence
) -> tuple[UnitChange, bool]:  # fmt: skip
    """Change of unit of a tag, and whether the export's own unit gave it."""
    described = clock.unit_changes.get(tag, UnitChange())
    if not unit or unit in ("-", "1") or not isinstance(clock, KnowsUnits):
        return described, False
    found = clock.change_from(tag, unit)
    if found is None:
        if is_unit(unit):
            evidence.note(
                f'{shown(tag)}: the export says "{shown(unit)}", which is no unit of this tag; '
                "taken as described."
            )
        return described, False
    if found != described:
        evidence.note(
            f'{shown(tag)}: the export says "{shown(unit)}", the description another unit; '
            "converted from the export's."
        )
    return found, True
