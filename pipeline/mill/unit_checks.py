"""Checks of units: of tags, of laboratory series, and of what layouts say of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pipeline.base import said
from pipeline.mill.export_layout import ExportLayout
from pipeline.mill.faults import Fault, nearest, quoted
from pipeline.mill.scales import Scale
from pipeline.mill.units import is_unit, units_of

#: What a unit lacks, by the key that would say it.
_LACKING = {
    "height_m": said("the height that counts as full"),
    "density_kg_m3": said("the density of what flows"),
}


def scale_faults(key: str, unit: str, what: str, scale: Scale) -> Iterator[Fault]:
    """Find a unit that a tag or a series cannot have, or only with another key."""
    found = scale.found(unit)
    if found.change is not None:
        return
    if found.lacking:
        problem = said(
            '"{unit}" becomes the unit of {what} only with {lacking}',
            unit=unit,
            what=what,
            lacking=_LACKING[found.lacking],
        )
        yield Fault(
            f"{key}.unit", problem, said("Add {lacking} to this tag", lacking=found.lacking)
        )
        return
    other = scale.other_basis(unit)
    if other is not None:
        problem = said(
            '"{unit}" says a share of {other}, its basis says {basis}',
            unit=unit,
            other=other,
            basis=scale.basis,
        )
        yield Fault(
            f"{key}.unit", problem, said('Set basis = "{other}" or correct the unit', other=other)
        )
        return
    yield unit_fault(key, unit, what)


def layout_unit_faults(
    layouts: tuple[ExportLayout, ...], scales: Mapping[str, Scale]
) -> Iterator[Fault]:
    """Units that layouts give for tags and that these tags cannot have."""
    for number, layout in enumerate(layouts, start=1):
        for name, unit in layout.units.items():
            if name in scales:
                what = scales[name].quantity or scales[name].analyte or ""
                yield from scale_faults(
                    f'exports.layout.{number}.units."{name}"', unit, what, scales[name]
                )
            elif not is_unit(unit):
                cure = nearest(name, scales, said("Name a tag, or a unit as the export writes it"))
                problem = said('is no tag, and "{unit}" is no unit', unit=unit)
                yield Fault(f'exports.layout.{number}.units."{name}"', problem, cure)


def unit_fault(key: str, unit: str, what: str) -> Fault:
    """Tell which units there are where one is none of them."""
    # No guess at what was meant: the unit that looks most alike may be a hundred times another.
    cure = said("Known units of {what}: {units}", what=what, units=quoted(units_of(what)))
    return Fault(
        f"{key}.unit", said('"{unit}" is not a unit of {what}', unit=unit, what=what), cure
    )
