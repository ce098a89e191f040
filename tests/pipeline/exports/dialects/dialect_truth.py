"""The one truth that every dialect tells: a few tags over two days of an invented mill.

Values are kept as text, so that a dialect can write exactly these digits and no others.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

SAO_PAULO, PARIS, CHICAGO = "America/Sao_Paulo", "Europe/Paris", "America/Chicago"

#: Quantity or analyte, unit of the description, decimals, and numbers that spread the values.
SERIES = {
    "MJ.FI101": ("flow", "m3/h", 2, (27_000, 7919, 98_000)),
    "LM.FI301": ("lime_flow", "L/h", 0, (2100, 631, 1900)),
    "LT.AI212": ("ph", "pH", 2, (700, 37, 90)),
    "SH.TI221": ("temperature", "degC", 1, (960, 53, 120)),
    "CT.LI231": ("level", "%", 3, (30_125, 7907, 30_000)),
    "YD.TI901": ("other", "degC", 1, (-60, 29, 140)),
    "EV.PI301": ("steam_pressure", "kPa", 1, (1400, 170, 610)),
    "LAB CJ rs": ("rs", "%", 3, (40, 13, 50)),
    "LAB LJ rs": ("rs", "%", 3, (20, 7, 31)),
}
SIX = tuple(SERIES)[:6]
LAB = ("LAB CJ rs", "LAB LJ rs")
#: Places that readings of these quantities have in the description.
PLACES = {
    "flow": 'place = "mixed_juice"', "lime_flow": 'place = "liming_tank"\nport = "in"',
    "ph": 'place = "liming_tank"\nport = "out"',
    "temperature": 'place = "settler"\nport = "inside"',
    "level": 'place = "clear_juice_tank"', "other": 'place = "mill"',
    "steam_pressure": 'place = "mill"', "rs": 'place = "settler"\nport = "out"',
}  # fmt: skip


class Reading(NamedTuple):
    """One reading as it happened: the moment, the series, its digits, and whether it is bad.

    ``text`` None is a reading that has no number and can only be stored as bad.
    """

    utc: datetime
    tag: str
    text: str | None
    bad: bool = False


def value_text(tag: str, k: int) -> str:
    """Digits of the k-th reading of a series."""
    _, _, decimals, (base, step, span) = SERIES[tag]
    return str(Decimal(base + k * step % span).scaleb(-decimals))


def record(
    start: str = "2025-03-13",
    zone: str = SAO_PAULO,
    *,
    count: int = 32,
    step_min: int = 90,
    tags: Sequence[str] = SIX,
    bad: Collection[int] = (),
    values: Mapping[str, Sequence[str]] | None = None,
) -> list[Reading]:
    """Readings from half past midnight of a local day on; the k in `bad` are bad in all tags."""
    first = datetime.fromisoformat(f"{start}T00:30:00").replace(tzinfo=ZoneInfo(zone))
    first = first.astimezone(UTC)
    given = values or {}
    return [
        Reading(
            first + timedelta(minutes=step_min * k),
            tag,
            given[tag][k % len(given[tag])] if tag in given else value_text(tag, k),
            k in bad,
        )
        for k in range(count)
        for tag in tags
    ]


READ = frozenset({"exact"})
#: The file does not say: a guess would be wrong for somebody.
ASK = frozenset({"asked", "refused"})
#: Right or asked, never wrong.
EITHER = frozenset({"exact", "asked", "refused"})
#: As ``EITHER``, and rows may be refused one by one where they are counted.
ANY = frozenset({"exact", "asked", "refused", "rows"})


@dataclass(frozen=True)
class Dialect:
    """Files that tell the truth in one way, and what may become of them.

    Attributes
    ----------
    name, axis : str
        What it is called, and what is unusual about it.
    files : mapping of str to bytes
    truth : list of Reading
        What the lake must hold.
    allowed : frozenset of str
        exact, asked, refused (whole), rows (some rows refused and counted, the rest exact).
    zone : str
        Of the mill.
    layout : mapping, optional
        Keys of the ``[[exports.layout]]`` set for it.
    answer : mapping, optional
        Keys with which it must be read exactly.
    proposal : str
        Key that would answer and does not exist yet.
    units : mapping of str to str
        Units of the description that differ from the usual ones.
    spare : int
        Cells and rows of the file that are no readings, and are refused with good reason.
    """

    name: str
    axis: str
    files: Mapping[str, bytes]
    truth: Sequence[Reading]
    allowed: frozenset[str] = READ
    zone: str = SAO_PAULO
    layout: Mapping[str, Any] | None = None
    answer: Mapping[str, Any] | None = None
    proposal: str = ""
    units: Mapping[str, str] = field(default_factory=dict)
    spare: int = 0

    @property
    def is_answer(self) -> bool:
        """The same as another, with the question answered."""
        return self.name.endswith(", answered")

    def answered(self) -> Dialect | None:
        """The same files with the question answered."""
        if self.answer is None:
            return None
        return Dialect(
            f"{self.name}, answered", self.axis, self.files, self.truth, READ, self.zone,
            self.answer, units=self.units, spare=self.spare,
        )  # fmt: skip


def description(dialect: Dialect) -> str:
    """The mill's TOML for a dialect."""
    lines = [
        "[mill]", 'name = "Quillmere"', 'key = "quillmere"', f'zone = "{dialect.zone}"',
        'store = "store"', "sucrose_price_per_t = 500.0", 'currency = "USD"',
        "[targets]", "flow_feed_m3_h = 300.0", "ph_limed = 7.6", "ph_clear = 7.0",
        "[[train]]", 'name = "liming_tank"', 'kind = "liming_tank"', "volume_m3 = 100.0",
        "level_pct = 70.0", "temp_degc = 100.0",
        "[[train]]", 'name = "settler"', 'kind = "settler"', "volume_m3 = 400.0",
        "area_m2 = 110.0", "tanks = 3", "temp_degc = 97.0", "mud_volume_m3 = 160.0",
        "mud_level_pct = 45.0", "mud_flow_m3_h = 28.0",
        "[[train]]", 'name = "clear_juice_tank"', 'kind = "clear_juice_tank"',
        "volume_m3 = 150.0", "level_pct = 40.0", "temp_degc = 95.0",
    ]  # fmt: skip
    for tag, (what, unit, _, _) in SERIES.items():
        unit_said = dialect.units.get(tag, unit)
        place = 'place = "liming_tank"\nport = "out"' if tag == "LAB LJ rs" else PLACES[what]
        kind, key = ("lab", "analyte") if what == "rs" else ("tags", "quantity")
        lines += [
            f'[{kind}."{tag}"]', f'{key} = "{what}"', place, f'unit = "{unit_said}"',
            "range = [-1e6, 1e6]",
        ]  # fmt: skip
        lines += ["rel_sd = 0.03"] if kind == "lab" else []
    if dialect.layout is not None:
        lines += ["[[exports.layout]]", 'name = "given"']
        lines += [f"{key} = {_toml(value)}" for key, value in dialect.layout.items()]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"').replace("\t", "\\t")
        return f'"{escaped}"'
    if isinstance(value, Mapping):
        return "{" + ", ".join(f'"{k}" = {_toml(v)}' for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    return repr(value)
