"""The station of a mill's file: its vessels, tags, lab series, targets and kinetics."""

from __future__ import annotations

from typing import Any, Final, TypeVar

from features.base import Filtrate, Kinetics, LabSource, Settling, Signal, Station, Targets, Vessel
from pipeline.base import said
from pipeline.mill.changes import UnitChange
from pipeline.mill.checks import (
    half_read_faults,
    numbered_steps,
    source_faults,
    target_faults,
    train_faults,
)
from pipeline.mill.faults import Fault, read_section, text_at
from pipeline.mill.scales import Scale, lab_scale, tag_scale
from pipeline.mill.sections import (
    FiltrateSection,
    KineticsSection,
    LabSection,
    SettlingSection,
    TagSection,
    TargetsSection,
    VesselSection,
)

SourceT = TypeVar("SourceT", TagSection, LabSection)
#: A description without a train asks for no loss: nothing is measured against these.
_NO_TARGETS: Final = Targets(flow_feed_m3_h=0.0, ph_limed=7.0, ph_clear=7.0)


def read_station(
    raw: dict[str, Any], faults: list[Fault], air_kpa: float | None = None
) -> tuple[Station, dict[str, Scale]]:
    """Read vessels, tags, lab series, targets and kinetics; build what could be read.

    Parameters
    ----------
    raw : dict
        The file, parsed.
    faults : list of Fault
        Gets every fault found.
    air_kpa : float, optional
        Pressure of the air at the mill [kPa].

    Returns
    -------
    station : Station
    scales : dict of str to Scale
        For each tag and lab series, what is known of its unit.
    """
    tags = _table(TagSection, raw, "tags", faults)
    lab = _table(LabSection, raw, "lab", faults)
    train = _train(raw, faults)
    targets = None
    if "targets" in raw:
        targets = read_section(TargetsSection, raw["targets"], "targets", faults)
    if targets is not None or "targets" not in raw:
        faults.extend(target_faults(targets, tags, has_train=bool(raw.get("train"))))
    kinetics = read_section(KineticsSection, raw.get("kinetics", {}), "kinetics", faults)
    filtrate = read_section(FiltrateSection, raw.get("filtrate", {}), "filtrate", faults)
    settling = read_section(SettlingSection, raw.get("settling", {}), "settling", faults)
    entries = raw.get("train", [])
    entries = entries if isinstance(entries, list) else []
    faults.extend(train_faults(train, whole=len(train) == len(entries)))
    if not raw.get("tags") and not raw.get("lab"):
        cure = said('Add one section per tag, [tags."NAME"]')
        faults.append(Fault("tags", said("there is neither a tag nor a lab series"), cure))
    kinds = {text_at(entry, "name"): text_at(entry, "kind") for entry in entries}
    vessels = {vessel.name: vessel for vessel in train.values()}
    scales = {n: tag_scale(tag, vessels, targets, air_kpa) for n, tag in tags.items()}
    scales |= {name: lab_scale(series) for name, series in lab.items()}
    faults.extend(source_faults(tags, lab, kinds, scales))
    if isinstance(raw.get("tags"), dict):
        faults.extend(half_read_faults(raw["tags"], tags))
    changes = {name: scale.described for name, scale in scales.items()}
    station = Station(
        vessels=tuple(
            Vessel(**(vessel.model_dump() | {"step": step}))
            for vessel, step in numbered_steps(train)
        ),
        signals=tuple(_signal(name, tag, changes[name]) for name, tag in tags.items()),
        lab=tuple(_lab_source(name, series, changes[name]) for name, series in lab.items()),
        targets=Targets(**targets.model_dump()) if targets else _NO_TARGETS,
        kinetics=Kinetics(**kinetics.model_dump()) if kinetics else Kinetics(),
        filtrate=Filtrate(**filtrate.model_dump()) if filtrate else Filtrate(),
        settling=_settling(settling, air_kpa),
    )
    return station, scales


def _settling(section: SettlingSection | None, air_kpa: float | None) -> Settling:
    said = section.model_dump() if section else {}
    return Settling(**said) if air_kpa is None else Settling(**said, air_kpa=air_kpa)


def _table(
    model: type[SourceT], raw: dict[str, Any], key: str, faults: list[Fault]
) -> dict[str, SourceT]:
    """Read ``[key."NAME"]`` sections, keeping those that can be read."""
    table = raw.get(key, {})
    if not isinstance(table, dict):
        faults.append(
            Fault(key, said("is not a section"), said('Write sections [{key}."NAME"]', key=key))
        )
        return {}
    found = {n: read_section(model, body, f'{key}."{n}"', faults) for n, body in table.items()}
    return {name: section for name, section in found.items() if section is not None}


def _train(raw: dict[str, Any], faults: list[Fault]) -> dict[int, VesselSection]:
    """Read ``[[train]]`` entries, counted from 1, keeping those that can be read."""
    entries = raw.get("train", [])
    if not isinstance(entries, list):
        faults.append(
            Fault("train", said("is not a list"), said("Write one [[train]] section per vessel"))
        )
        return {}
    found = {
        number: read_section(VesselSection, body, f"train.{number}", faults)
        for number, body in enumerate(entries, start=1)
    }
    return {number: vessel for number, vessel in found.items() if vessel is not None}


def _signal(name: str, tag: TagSection, change: UnitChange) -> Signal:
    fields = tag.model_dump(exclude={"range", "height_m", "density_kg_m3"})
    return Signal(
        tag=name, low=change.apply(tag.range[0]), high=change.apply(tag.range[1]), **fields
    )


def _lab_source(name: str, series: LabSection, change: UnitChange) -> LabSource:
    fields = series.model_dump(exclude={"range", "sd"})
    low, high = (change.apply(end) for end in series.range)
    return LabSource(tag=name, low=low, high=high, sd=series.sd * abs(change.scale), **fields)
