"""A mill's TOML file, read, checked and turned into what the rest of the tool needs.

`load_mill` is the only door. It reports every fault of a file at once.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from features.base import Station
from models.base import smallest_finding_t
from pipeline.base import ConfigError, Readers, counted, joined, said
from pipeline.mill.changes import UnitChange
from pipeline.mill.checks import layout_faults, zone_faults
from pipeline.mill.export_layout import Exports
from pipeline.mill.faults import Fault, nearest, read_section, text_at
from pipeline.mill.lake_place import place_faults, read_locations
from pipeline.mill.scales import Scale
from pipeline.mill.sections import (
    ClusterSection,
    DetectionSection,
    KeepSection,
    MailSection,
    MillSection,
    PricesSection,
    ReportsSection,
    ScheduleSection,
    ShiftSection,
)
from pipeline.mill.sources import Source, read_sources
from pipeline.mill.station import read_station
from pipeline.mill.unit_checks import layout_unit_faults

_SECTIONS: Final = (
    "mill",
    "shifts",
    "detection",
    "schedule",
    "cluster",
    "keep",
    "reports",
    "mail",
    "exports",
    "source",
    "targets",
    "kinetics",
    "filtrate",
    "settling",
    "prices",
    "train",
    "tags",
    "lab",
)


#: So many minutes may be missing at the end of a day that is told as a whole one: a recorder that
#: writes every half hour writes the last time at 23:30 (judgement).
DAY_TOLERANCE: Final = timedelta(minutes=30)


@dataclass(frozen=True, slots=True)
class Mill:
    """Everything a run needs to know about one mill.

    Attributes
    ----------
    name, key : str
        Name for people, and short name for files and tables.
    zone : str
        IANA time zone of the plant.
    ambiguous : {"first", "second", "refuse"}
        Which of two equal local times is meant when clocks go back.
    missing : {"shift_forward", "refuse"}
        What becomes of a local time that clocks going forward skip.
    price_per_t : float
        Worth of sucrose [currency/t].
    currency : str
        ISO 4217 code.
    store_path : Path
        Folder of findings and reports, and of the lake unless `lake` names another place.
    unit_changes : mapping of str to UnitChange
        For each tag and lab series, how its exported value becomes an inside value.
    prices : PricesSection
        Other prices, for the advice on limed pH.
    sources : tuple of Source
        Direct sources of readings.
    config_hash : str
        Hash of all that can change a finding; the folders, mail, schedule and prices other than
        that of sucrose are left out.
    lake : Path, str or None
        Folder or URL of the lake; None for the usual one, in the store.
    readers : {"owner", "group", "everyone"}
        Who may read the published copy of the findings.
    scales : mapping of str to Scale
        What is known of the unit of each tag and lab series.
    reports : ReportsSection
        Language and units of readers.
    """

    name: str
    key: str
    zone: str
    ambiguous: str
    missing: str
    price_per_t: float
    currency: str
    store_path: Path
    config_path: Path
    station: Station
    unit_changes: Mapping[str, UnitChange]
    exports: Exports
    shifts: ShiftSection
    detection: DetectionSection
    schedule: ScheduleSection
    cluster: ClusterSection
    keep: KeepSection
    mail: MailSection | None
    prices: PricesSection
    sources: tuple[Source, ...]
    config_hash: str
    lake: Path | str | None = None
    readers: Readers = "owner"
    scales: Mapping[str, Scale] = field(default_factory=dict)
    reports: ReportsSection = field(default_factory=ReportsSection)

    @property
    def tz(self) -> ZoneInfo:
        """The plant's time zone."""
        return ZoneInfo(self.zone)

    @property
    def false_findings_per_week(self) -> float:
        """Rate of findings accepted when nothing is lost [1/week]."""
        return self.detection.false_findings_per_week

    @property
    def smallest_finding_t(self) -> float:
        """Loss below which an episode is not worth a line [t sucrose]."""
        stated, worth = self.detection.smallest_finding_t, self.detection.smallest_finding_worth
        if stated is not None:
            return stated
        worth_t = None if worth is None else worth / self.price_per_t
        return smallest_finding_t(self.station.targets, worth_t)

    @property
    def lake_path(self) -> Path | str:
        """Folder of readings and features, or its URL."""
        return self.lake or self.store_path / "lake"

    @property
    def incoming_path(self) -> Path:
        """Folder in which exports wait for the lake; in the store, wherever the lake lies."""
        return self.store_path / "lake" / "incoming"

    @property
    def database_path(self) -> Path:
        """File of the findings store."""
        return self.store_path / "findings.duckdb"

    @property
    def reports_path(self) -> Path:
        """Folder of reports."""
        return self.store_path / "reports"

    @property
    def inbox_path(self) -> Path | None:
        """Folder where exports arrive, or None."""
        if self.schedule.inbox is None:
            return None
        return (self.config_path.parent / self.schedule.inbox).resolve()

    def change_from(self, tag: str, unit: str) -> UnitChange | None:
        """Change of an exported `unit` to the inside unit of `tag`; None for no unit of it."""
        return self.scales[tag].found(unit).change if tag in self.scales else None

    def day_start_utc(self, day: date) -> datetime:
        """First instant of a local day, in UTC."""
        return datetime.combine(day, time(), tzinfo=self.tz).astimezone(UTC)

    def local_day(self, instant: datetime) -> date:
        """Local day an instant belongs to."""
        return instant.astimezone(self.tz).date()

    def last_day_over(self, instant: datetime) -> date:
        """Last local day that is over by an instant, within `DAY_TOLERANCE`.

        Readings come every so many minutes: those of a whole day end some minutes before midnight.
        """
        return self.local_day(instant + DAY_TOLERANCE) - timedelta(days=1)

    def day_span_utc(self, first: date, last: date) -> tuple[datetime, datetime]:
        """Start (included) and end (excluded) of local days `first` to `last`, in UTC."""
        return self.day_start_utc(first), self.day_start_utc(last + timedelta(days=1))

    def with_store(self, folder: Path) -> Mill:
        """Give the same mill with another store folder, and its lake in there."""
        return replace(self, store_path=folder.resolve(), lake=None)


def load_mill(path: Path) -> Mill:
    """Read and check a mill's file.

    Raises
    ------
    ConfigError
        With every fault of the file, each with its key and cure.
    """
    raw = _read_toml(path)
    faults: list[Fault] = []
    mill = _assemble(raw, path, faults)
    if mill is None or faults:
        lines = [str(path), *(said("- {fault}", fault=fault.line) for fault in faults)]
        raise ConfigError(
            counted(
                len(faults),
                "The mill's description has one fault.",
                "The mill's description has {n} faults.",
            ),
            joined("\n", lines),
            said('Correct the file, then run: lostpol check "{path}"', path=path),
        )
    return mill


def _read_toml(path: Path) -> dict[str, Any]:
    """Parse the file, or say why it cannot be parsed."""
    try:
        with path.open("rb") as file:
            return tomllib.load(file)
    except FileNotFoundError:
        what, cure = (
            said("There is no such file."),
            said("Check the path; the argument MILL is a TOML file."),
        )
    except IsADirectoryError:
        what, cure = (
            said("This is a folder, not a file."),
            said("Give the mill's TOML file inside it."),
        )
    except PermissionError:
        what, cure = said("The file may not be read."), said("Ask for the right to read it.")
    except tomllib.TOMLDecodeError as error:
        what, cure = (
            said("The file is not valid TOML: {why}.", why=str(error)),
            said("Correct that line and try again."),
        )
    except UnicodeDecodeError:
        what, cure = said("The file is not UTF-8 text."), said("Save it as UTF-8.")
    raise ConfigError(what, str(path), cure)


def _assemble(raw: dict[str, Any], path: Path, faults: list[Fault]) -> Mill | None:
    """Build the mill, adding every fault found to `faults`."""
    for key in raw.keys() - set(_SECTIONS):
        cure = nearest(
            key, _SECTIONS, said("Known sections: {sections}", sections=", ".join(_SECTIONS))
        )
        faults.append(Fault(key, said("is not a known section"), cure.rstrip(".")))
    base = read_section(MillSection, raw.get("mill", {}), "mill", faults)
    shifts = read_section(ShiftSection, raw.get("shifts", {}), "shifts", faults)
    detection = read_section(DetectionSection, raw.get("detection", {}), "detection", faults)
    schedule = read_section(ScheduleSection, raw.get("schedule", {}), "schedule", faults)
    cluster = read_section(ClusterSection, raw.get("cluster", {}), "cluster", faults)
    keep = read_section(KeepSection, raw.get("keep", {}), "keep", faults)
    mail = read_section(MailSection, raw["mail"], "mail", faults) if "mail" in raw else None
    reports = read_section(ReportsSection, raw.get("reports", {}), "reports", faults)
    exports = read_section(Exports, raw.get("exports", {}), "exports", faults)
    prices = read_section(PricesSection, raw.get("prices", {}), "prices", faults)
    sources = read_sources(raw.get("source", []), faults)
    faults.extend(zone_faults(text_at(raw.get("mill"), "zone"), "mill.zone"))
    where = [text_at(raw.get("mill"), name) for name in ("store", "lake")]
    faults.extend(place_faults(*where))
    if exports is not None:
        faults.extend(layout_faults(exports.layout))
    station, scales = read_station(raw, faults, base.air_kpa if base is not None else None)
    if exports is not None:
        faults.extend(layout_unit_faults(exports.layout, scales))
    if base is None or shifts is None or detection is None or schedule is None:
        return None
    if cluster is None or keep is None or exports is None or prices is None:
        return None
    if reports is None or faults:
        return None
    store_path, lake = read_locations(base.store, base.lake, path.parent, faults)
    return Mill(
        name=base.name,
        key=base.key,
        zone=base.zone,
        ambiguous=base.ambiguous,
        missing=base.missing,
        price_per_t=base.sucrose_price_per_t,
        currency=base.currency,
        store_path=store_path,
        config_path=path.resolve(),
        station=station,
        unit_changes={name: scale.described for name, scale in scales.items()},
        exports=exports,
        shifts=shifts,
        detection=detection,
        schedule=schedule,
        cluster=cluster,
        keep=keep,
        mail=mail,
        prices=prices,
        sources=sources,
        config_hash=_hash(base, detection, exports, station),
        lake=lake,
        readers=base.readers,
        scales=scales,
        reports=reports,
    )


def _hash(
    base: MillSection, detection: DetectionSection, exports: Exports, station: Station
) -> str:
    """Short hash of all that can change a finding."""
    content = {
        "mill": base.model_dump(exclude={"store", "lake", "readers"}),
        "detection": detection.model_dump(),
        "exports": exports.model_dump(),
        "station": asdict(station),
    }
    text = json.dumps(content, sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
