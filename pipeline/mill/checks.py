"""Contradictions between sections of a mill's file: each is found, none stops the search."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import get_args
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from features.base import QUANTITY_COLUMNS, Quantity
from pipeline.base import figure, said
from pipeline.mill.export_layout import ExportLayout
from pipeline.mill.faults import Fault, nearest
from pipeline.mill.scales import Scale
from pipeline.mill.sections import LabSection, TagSection, TargetsSection, VesselSection
from pipeline.mill.unit_checks import scale_faults, unit_fault
from pipeline.mill.units import signal_change
from pipeline.mill.zones import offset_s

#: Places that are not vessels.
OUTSIDE_PLACES = ("mixed_juice", "mill", "filtrate", "syrup", "filter_cake")
#: Words used for other things in findings.
RESERVED_NAMES = (*OUTSIDE_PLACES, "train", "feed")


def zone_faults(zone: str, key: str) -> Iterator[Fault]:
    """Find a time zone nobody knows; one left out is another fault."""
    if not zone:
        return
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        cure = nearest(
            zone, available_timezones(), said('Use an IANA name such as "America/Chicago"')
        )
        yield Fault(key, said('time zone "{zone}" is unknown', zone=zone), cure)


def layout_faults(layouts: tuple[ExportLayout, ...]) -> Iterator[Fault]:
    """Zones of layouts, and two layouts that claim the same files."""
    seen: dict[str, str] = {}
    for number, layout in enumerate(layouts, start=1):
        key = f"exports.layout.{number}"
        if layout.time_zone is not None and offset_s(layout.time_zone) is None:
            yield from zone_faults(layout.time_zone, f"{key}.time_zone")
        other = seen.setdefault(layout.match.casefold(), layout.name)
        if other != layout.name:
            problem = said(
                'matches "{match}" as does layout "{other}", so it is never used',
                match=layout.match,
                other=other,
            )
            yield Fault(f"{key}.match", problem, said("Give each layout its own pattern"))


def train_faults(train: Mapping[int, VesselSection], *, whole: bool) -> Iterator[Fault]:
    """Names, order and sizes of the vessels. Keys are positions in the file.

    The order is judged only when every vessel could be read (`whole`).
    """
    seen: dict[str, int] = {}
    for number, vessel in train.items():
        key = f"train.{number} ({vessel.name})"
        if vessel.name in RESERVED_NAMES:
            yield Fault(
                key,
                said('the name "{name}" is reserved', name=vessel.name),
                said("Choose another name"),
            )
        if vessel.name in seen:
            first = seen[vessel.name]
            yield Fault(
                key,
                said("has the same name as train.{first}", first=first),
                said("Give each vessel its own name"),
            )
        seen.setdefault(vessel.name, number)
        yield from _settler_faults(key, vessel)
    if not whole:
        return
    steps = sorted({step for _, step in numbered_steps(train)})
    gaps = sorted(set(range(1, max(steps, default=0) + 1)) - set(steps))
    if gaps:
        missing = ", ".join(map(str, gaps))
        cure = said("Number the steps 1, 2, 3 ... or leave step out")
        yield Fault("train", said("no vessel stands at step {missing}", missing=missing), cure)


def numbered_steps(train: Mapping[int, VesselSection]) -> Iterator[tuple[VesselSection, int]]:
    """Each vessel with its step; a vessel without one follows the vessel above it."""
    before = 0
    for vessel in train.values():
        before = vessel.step if vessel.step is not None else before + 1
        yield vessel, before


def _settler_faults(key: str, vessel: VesselSection) -> Iterator[Fault]:
    if vessel.kind == "settler":
        if vessel.area_m2 is None:
            cure = said("Add the settling area in square metres")
            yield Fault(f"{key}.area_m2", said("is missing for a settler"), cure)
        return
    if vessel.mud_volume_m3 > 0 or vessel.mud_flow_m3_h > 0:
        cure = said("Take the mud values out, or set kind to settler")
        yield Fault(key, said("has a mud zone but is a {kind}", kind=vessel.kind), cure)


def source_faults(
    tags: Mapping[str, TagSection],
    lab: Mapping[str, LabSection],
    vessel_kinds: Mapping[str, str],
    scales: Mapping[str, Scale],
) -> Iterator[Fault]:
    """Units, places and double claims of tags and lab series.

    Parameters
    ----------
    vessel_kinds : mapping of str to str
        Kind of each vessel named in the file; empty when the file has no train, and then every
        place is accepted.
    scales : mapping of str to Scale
        What is known of the unit of each tag and lab series.
    """
    known = {*OUTSIDE_PLACES, *vessel_kinds} if vessel_kinds else set()
    for name, tag in tags.items():
        key = f'tags."{name}"'
        yield from _place_faults(key, tag.place, tag.port, known, vessel_kinds)
        yield from scale_faults(key, tag.unit, tag.quantity, scales[name])
    for name, series in lab.items():
        key = f'lab."{name}"'
        yield from _place_faults(key, series.place, series.port, known, vessel_kinds)
        yield from scale_faults(key, series.unit, series.analyte, scales[name])
        yield from _lab_kind_faults(key, series)
        if series.sd == 0 and series.rel_sd == 0:
            cure = said("Give sd (in its unit) or rel_sd (a share)")
            yield Fault(key, said("has no standard error"), cure)
    yield from _double_claims(tags, lab)


def half_read_faults(tables: Mapping[str, object], read: Collection[str]) -> Iterator[Fault]:
    """Judge the unit of tags whose section has another fault, so that all faults come at once.

    Parameters
    ----------
    tables : mapping of str to object
        Raw ``[tags]`` sections by name.
    read : collection of str
        Names that were read whole; their units are judged with the rest.
    """
    for name, body in tables.items():
        if name in read or not isinstance(body, Mapping):
            continue
        unit = body.get("unit")
        quantity = next((q for q in get_args(Quantity) if q == body.get("quantity")), None)
        if not quantity or not isinstance(unit, str):
            continue
        if Scale(quantity, None, unit, density_kg_m3=1.0, height_m=1.0).found(unit).change is None:
            yield unit_fault(f'tags."{name}"', unit, quantity)


def _place_faults(
    key: str, place: str, port: str, known: set[str], kinds: Mapping[str, str]
) -> Iterator[Fault]:
    if known and place not in known:
        cure = nearest(place, known, said("Known places: {known}", known=", ".join(sorted(known))))
        yield Fault(
            f"{key}.place", said('"{place}" is neither a vessel nor the feed', place=place), cure
        )
    if port and place in OUTSIDE_PLACES:
        yield Fault(
            f"{key}.port", said("{place} has no port", place=place), said("Take the port out")
        )
    if port == "mud" and kinds.get(place, "settler") != "settler":
        cure = said("Only a settler has a mud port: use in, inside or out")
        yield Fault(
            f"{key}.port", said("{place} is a {kind}", place=place, kind=kinds[place]), cure
        )


def _double_claims(
    tags: Mapping[str, TagSection], lab: Mapping[str, LabSection]
) -> Iterator[Fault]:
    """Two sources for one thing; the inside column name decides what one thing is."""
    claims: dict[tuple[str, ...], str] = {}
    cure = said("Keep the one to trust, or correct quantity, place or port of the other")
    for name, tag in tags.items():
        prefix, suffix = QUANTITY_COLUMNS[tag.quantity]
        column = "_".join(part for part in (prefix, tag.place, tag.port, suffix) if part)
        rank = "second" if tag.beside else "first"
        other = claims.setdefault(("tag", column, rank), name)
        if other != name:
            spot = " ".join(part for part in (tag.quantity, tag.place, tag.port) if part)
            if not tag.beside:
                way = said('{cure}, or give one of them beside = "{other}"', cure=cure, other=other)
            else:
                way = cure
            yield Fault(
                f'tags."{name}"',
                said('claims {spot}, as does tags."{other}"', spot=spot, other=other),
                way,
            )
        yield from _beside_faults(name, tag, tags)
    for name, series in lab.items():
        kind = "composite" if series.period_h else "grab"
        other = claims.setdefault(("lab", series.analyte, series.place, series.port, kind), name)
        if other != name:
            spot = " ".join(part for part in (series.analyte, series.place, series.port) if part)
            yield Fault(
                f'lab."{name}"',
                said('claims {spot}, as does lab."{other}"', spot=spot, other=other),
                cure,
            )
    for name in tags.keys() & lab.keys():
        yield Fault(
            f'lab."{name}"', said("is also under [tags]"), said("Keep it in one of the two")
        )


def _beside_faults(name: str, tag: TagSection, tags: Mapping[str, TagSection]) -> Iterator[Fault]:
    """A second instrument stands where another counts, and measures the same."""
    if not tag.beside:
        return
    key, first = f'tags."{name}".beside', tags.get(tag.beside)
    if first is None:
        cure = nearest(tag.beside, tags, said("Name the tag that counts there"))
        yield Fault(key, said('"{beside}" is no tag of this description', beside=tag.beside), cure)
    elif first.beside or (first.quantity, first.place, first.port) != (
        tag.quantity, tag.place, tag.port,
    ):  # fmt: skip
        cure = said(
            "Name the tag that counts at the same place, or correct quantity, place or port"
        )
        yield Fault(
            key,
            said('"{beside}" does not count at the same place for the same', beside=tag.beside),
            cure,
        )


def _lab_kind_faults(key: str, series: LabSection) -> Iterator[Fault]:
    """Keys that only some series can have."""
    if series.basis != "juice" and series.analyte != "rs":
        cure = said("Take basis out; it says what reducing sugars are a share of")
        yield Fault(f"{key}.basis", said("{analyte} has no basis", analyte=series.analyte), cure)


def target_faults(
    targets: TargetsSection | None, tags: Mapping[str, TagSection], *, has_train: bool
) -> Iterator[Fault]:
    """Targets that are missing, or that lie where the probe's readings are refused."""
    if targets is None:
        if has_train:
            cure = said("Add [targets] with flow_feed_m3_h, ph_limed and ph_clear")
            yield Fault("targets", said("is missing; losses are measured against it"), cure)
        return
    for name, tag in tags.items():
        change = signal_change(tag.quantity, tag.unit)
        aim = {
            ("flow", "mixed_juice"): targets.flow_feed_m3_h,
            ("brix", "mixed_juice"): targets.brix_pct,
        }.get((tag.quantity, tag.place))
        if aim is None or change is None:
            continue
        low, high = (change.apply(end) for end in tag.range)
        if not low <= aim <= high:
            problem = said(
                "the target {aim} lies outside its range {low} to {high}",
                aim=figure(aim, "g"),
                low=figure(low, "g"),
                high=figure(high, "g"),
            )
            yield Fault(
                f'tags."{name}".range', problem, said("Correct the range, the unit or [targets]")
            )
