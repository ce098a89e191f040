"""Lanes of what lostpol worked out of a vessel: how long juice stays, its pH, what is inverted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from models.account import Way
from pipeline.dossier.gather import Material
from pipeline.dossier.lanes import Lane, Line, vessel_kinds
from pipeline.words import said, section_words

#: Column, what it is, unit, decimals.
_SHOWN: Final = (
    ("residence_min", said("residence time"), "min", 0),
    ("ph_cold", said("mean pH, as of a cooled sample"), "pH", 2),
    ("inversion_1_h", said("inversion rate at the published level"), "1/h", 5),
)
_MUD: Final = ":mud"


def worked_lanes(material: Material, ways: Mapping[tuple[str, str], Way]) -> list[Lane]:
    """Lanes of the vessels' features, in flow order; none shown at first."""
    if material.minutes is None:
        return []
    kinds = vessel_kinds(material)
    found = []
    for number, (zone, columns) in enumerate(material.minutes.zones.items()):
        vessel, mud = zone.removesuffix(_MUD), zone.endswith(_MUD)
        way = ways.get((vessel, "mud" if mud else "inside"))
        delay = np.zeros(material.grid.height) if way is None else way.half_min
        for name, what, unit, decimals in _SHOWN:
            values = columns.get(name)
            if values is None or not np.isfinite(values).any():
                continue
            found.append(
                Lane(
                    key=f"zone-{number}-{name.replace('_', '-')}",
                    tag="",
                    what=said(
                        "{what}, {place} (worked out)",
                        what=what,
                        place=section_words(zone, kinds),
                    ),
                    unit=unit,
                    decimals=decimals,
                    lines=(Line(said("worked out"), values),),
                    grabs=(),
                    delay_min=delay,
                    carried=way is not None,
                    target=None,
                )
            )
    return found
