"""What it takes, besides the unit, to bring a reading of one tag to the unit kept inside.

Mass of juice becomes volume by its density, a height becomes a level by the height that counts
as full, a gauge pressure becomes absolute by the pressure of the air. Where the description does
not say these, the assumption is named, or the key that is missing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from features.base import Analyte, Basis, Quantity
from features.juice import density_kg_m3
from pipeline.base import figure, said
from pipeline.mill.changes import UnitChange, plain_unit
from pipeline.mill.dimensions import factor, ratio
from pipeline.mill.pressures import STANDARD_ATMOSPHERE_KPA, pressure_change
from pipeline.mill.sections import LabSection, TagSection, TargetsSection, VesselSection
from pipeline.mill.units import basis_of_unit, lab_change, signal_change

#: Temperature of mixed juice and of imbibition water where no vessel says one [degC] (common
#: practice; ten degrees change the density by 0.5 %).
_MIXED_JUICE_DEGC: Final = 30.0
_IMBIBITION_DEGC: Final = 60.0
#: Flows of juice or water, whose density is known; kg/h to m3/h.
_OF_JUICE: Final = ("flow", "imbibition_flow")
_DOSES: Final = ("lime_flow", "flocculant_flow")
_LEVELS: Final = ("level", "mud_level")


@dataclass(frozen=True, slots=True)
class Found:
    """What a unit means for a tag.

    Attributes
    ----------
    change : UnitChange or None
        None where the unit cannot be one of the tag, or more must be known.
    assumed : str
        What was taken for known, in words; empty where nothing was.
    lacking : str
        Key of the description that would tell how to convert; empty where none would.
    sure : bool
        The unit alone gives the change, with nothing assumed that the description does not say.
    """

    change: UnitChange | None
    assumed: str = ""
    lacking: str = ""
    sure: bool = True


@dataclass(frozen=True, slots=True)
class Scale:
    """What is known of the scale of one tag or lab series.

    Attributes
    ----------
    quantity : str or None
        What a tag measures; None for a lab series.
    analyte : str or None
        What a lab series measures; None for a tag.
    unit : str
        Unit of the description.
    density_kg_m3 : float or None
        Of what flows.
    density_of : str
        Where the density comes from, in words.
    density_said : bool
        The description gives the density itself.
    height_m : float or None
        Height that counts as full.
    air_kpa : float or None
        Pressure of the air at the mill; None for the standard atmosphere.
    basis : {"juice", "solids", "pol"}
        What reducing sugars are told on.
    """

    quantity: Quantity | None
    analyte: Analyte | None
    unit: str
    density_kg_m3: float | None = None
    density_of: str = ""
    density_said: bool = False
    height_m: float | None = None
    air_kpa: float | None = None
    basis: Basis = "juice"

    def other_basis(self, unit: str) -> Basis | None:
        """What a unit says reducing sugars are told on, where that is not what is described."""
        said = basis_of_unit(unit) if self.analyte == "rs" else None
        return None if said == self.basis else said

    @property
    def described(self) -> UnitChange:
        """Change from the unit of the description."""
        return self.found(self.unit).change or UnitChange()

    def found(self, unit: str) -> Found:
        """What a unit written in an export, or in the description, means here."""
        if self.quantity is None:
            return Found(
                lab_change(self.analyte, unit, self.basis) if self.analyte is not None else None
            )
        if self.quantity == "other":
            return Found(_within(unit, self.unit))
        if self.quantity == "steam_pressure":
            return self._pressure(unit)
        change = signal_change(self.quantity, unit)
        if change is None and self.quantity in _LEVELS:
            return self._level(unit)
        if change is None and self.quantity in (*_OF_JUICE, *_DOSES):
            return self._mass(unit)
        return Found(change)

    def _pressure(self, unit: str) -> Found:
        air = STANDARD_ATMOSPHERE_KPA if self.air_kpa is None else self.air_kpa
        found, described = pressure_change(unit, air), pressure_change(self.unit, air)
        if found is None:
            return Found(None)
        change, kind = found
        if not kind and described is not None and described[1] == "gauge":
            change, kind = UnitChange(change.scale, air), "gauge"
        if kind != "gauge":
            return Found(change)
        words = said(
            "gauge pressure, {air} kPa of air added ({origin})",
            air=figure(air, "g"),
            origin=said("as [mill] air_kpa says")
            if self.air_kpa is not None
            else said("the standard atmosphere"),
        )
        return Found(change, words)

    def _level(self, unit: str) -> Found:
        size = factor(unit, "length")
        if size is None:
            return Found(None)
        if self.height_m is None:
            return Found(None, lacking="height_m", sure=False)
        change = UnitChange(100.0 * size / self.height_m)
        return Found(change, said("{height} m is taken as full", height=figure(self.height_m, "g")))

    def _mass(self, unit: str) -> Found:
        size = factor(unit, "mass_flow")
        if size is None:
            return Found(None)
        if self.density_kg_m3 is None:
            return Found(None, lacking="density_kg_m3", sure=False)
        liters = 1000.0 if self.quantity in _DOSES else 1.0
        sure = self.density_said or factor(self.unit, "mass_flow") is not None
        words = said(
            "mass becomes volume at {density} kg/m³, {origin}",
            density=figure(self.density_kg_m3, ",.1f"),
            origin=self.density_of,
        )
        return Found(UnitChange(size * liters / self.density_kg_m3), words, sure=sure)


def _within(unit: str, described: str) -> UnitChange | None:
    """Change to the unit of the description, for a tag that is kept as described."""
    if plain_unit(unit) == plain_unit(described):
        return UnitChange()
    here, there = (signal_change("temperature", text) for text in (unit, described))
    if here is not None and there is not None:
        return UnitChange(here.scale / there.scale, (here.offset - there.offset) / there.scale)
    pressures = [pressure_change(text) for text in (unit, described)]
    if all(pressures):
        (a, kind), (b, other) = pressures  # type: ignore[misc]
        return UnitChange(a.scale / b.scale) if kind == other else None
    size = ratio(unit, described)
    return None if size is None else UnitChange(size)


def tag_scale(
    tag: TagSection,
    vessels: Mapping[str, VesselSection],
    targets: TargetsSection | None,
    air_kpa: float | None,
) -> Scale:
    """What is known of the scale of a tag, from its own keys and those of its surroundings."""
    density, words = tag.density_kg_m3, said("as its density_kg_m3 says")
    if density is None:
        density, words = _usual_density(tag, vessels.get(tag.place), targets)
    return Scale(
        tag.quantity, None, tag.unit, density, words, tag.density_kg_m3 is not None,
        tag.height_m, air_kpa,
    )  # fmt: skip


def lab_scale(series: LabSection) -> Scale:
    """What is known of the scale of a lab series."""
    return Scale(None, series.analyte, series.unit, basis=series.basis)


def _usual_density(
    tag: TagSection, vessel: VesselSection | None, targets: TargetsSection | None
) -> tuple[float | None, str]:
    """Density of juice at the aims of its place, or of imbibition water [kg/m3]."""
    if tag.quantity == "imbibition_flow":
        density = float(density_kg_m3(0.0, _IMBIBITION_DEGC))
        return density, said("that of water at {temp} °C", temp=figure(_IMBIBITION_DEGC, "g"))
    if tag.quantity != "flow" or tag.port == "mud" or targets is None:
        return None, ""
    brix = targets.brix_pct if vessel is None or vessel.brix_pct is None else vessel.brix_pct
    temp = _MIXED_JUICE_DEGC if vessel is None else vessel.temp_degc
    density = float(density_kg_m3(brix, min(temp, 105.0)))
    return density, said(
        "that of juice of {brix} Brix at {temp} °C",
        brix=figure(brix, "g"),
        temp=figure(temp, "g"),
    )
