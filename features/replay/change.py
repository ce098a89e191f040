"""What a replay changes: a key and a value, relative where the value has a sign."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal

from features.base import FloatArray, Station

What = Literal[
    "ph_limed", "ph_limed_target", "flow", "imbibition", "stop_h", "temp_degc", "level_pct",
    "mud_level_pct", "in_service", "filtrate_to",
]  # fmt: skip
How = Literal["by", "factor", "to", "at_most", "at_least"]

#: Keys of the station, and keys of a vessel that stand behind its name and a point; with units.
STATION_KEYS: Final[dict[str, str]] = {
    "ph_limed": "pH",
    "ph_limed_target": "pH",
    "flow": "m3/h",
    "imbibition": "m3/h",
    "stop_h": "h",
    "filtrate_to": "",
}
VESSEL_KEYS: Final[dict[str, str]] = {
    "temp_degc": "degC",
    "level_pct": "%",
    "mud_level_pct": "%",
    "in_service": "",
}
#: Quantities for which a share in per cent is an amount of its own.
_BY_SHARE: Final = ("flow", "imbibition", "stop_h")
_NUMBER: Final = re.compile(r"(?P<sign>[+-]?)(?P<digits>\d+(?:\.\d+)?|\.\d+)(?P<share>%?)")
#: Juice that filtrate may be returned to, by the amount that stands for it.
FILTRATE_TO: Final[tuple[Literal["mixed", "limed"], ...]] = ("mixed", "limed")
_SERVICE: Final = {"in": 1.0, "1": 1.0, "yes": 1.0, "out": 0.0, "0": 0.0, "no": 0.0}


@dataclass(frozen=True, slots=True)
class Change:
    """One change.

    Attributes
    ----------
    what : str
        Quantity.
    how : {"by", "factor", "to", "at_most", "at_least"}
        Added, multiplied by ``1 + amount / 100``, held there, or held on one side of it.
    amount : float
        In the unit of the quantity; of ``factor`` [%].
    place : str
        Vessel, empty for the station.
    """

    what: What
    how: How
    amount: float
    place: str = ""

    @property
    def key(self) -> str:
        """Key as it is said."""
        return f"{self.place}.{self.what}" if self.place else self.what

    @property
    def unit(self) -> str:
        """Unit of the quantity, empty where it has none."""
        return VESSEL_KEYS[self.what] if self.place else STATION_KEYS[self.what]

    @property
    def nothing(self) -> bool:
        """Whether it changes nothing."""
        return self.how in ("by", "factor") and self.amount == 0.0

    def on(self, values: FloatArray) -> FloatArray:
        """Quantity with the change.

        Parameters
        ----------
        values : ndarray, shape (n,)
            NaN stays NaN.
        """
        if self.how == "by":
            return values + self.amount
        if self.how == "factor":
            return values * (1.0 + self.amount / 100.0)
        if self.how == "at_most":
            return values - _positive(values - self.amount)
        if self.how == "at_least":
            return values + _positive(self.amount - values)
        return 0.0 * values + self.amount


def _positive(values: FloatArray) -> FloatArray:
    return values * (values > 0.0)


def parse_change(said: str, station: Station) -> Change:
    """Read a change as it is said, ``KEY=VALUE``.

    Parameters
    ----------
    said : str
        Such as ``ph_limed=+0.2``, ``ph_limed=7.4``, ``settler.temp_degc=-2``, ``flow=+10%``,
        ``settler.in_service=out``.
    station : Station
        Whose vessels may be named.

    Returns
    -------
    Change

    Raises
    ------
    ValueError
        In words for a person: what cannot be read, or is not there.
    """
    key, equals, value = (part.strip() for part in said.partition("="))
    if not equals or not key or not value:
        raise ValueError("say KEY=VALUE, such as ph_limed=+0.2 or settler.temp_degc=-2")
    place, point, what = key.rpartition(".")
    known = VESSEL_KEYS if point else STATION_KEYS
    if what not in known:
        raise ValueError(f"there is no key {key!r:.80}; there are {_keys_in_words(station)}")
    if point and place not in {v.name for v in station.vessels}:
        names = ", ".join(v.name for v in sorted(station.vessels, key=lambda v: v.step))
        raise ValueError(f"there is no vessel {place!r:.80}; there are {names}")
    if what == "in_service":
        if value.lower() not in _SERVICE:
            raise ValueError(f"{key} is {value!r:.40}; say in or out")
        return Change("in_service", "to", _SERVICE[value.lower()], place)
    if what == "filtrate_to":
        if value not in FILTRATE_TO:
            raise ValueError(
                f"{key} is {value!r:.40}; say mixed or limed: where filtrate goes outside the "
                "station nothing here can follow"
            )
        return Change("filtrate_to", "to", float(FILTRATE_TO.index(value)))
    match = _NUMBER.fullmatch(value)
    if match is None:
        raise ValueError(f"{key} is {value!r:.40}; say a number, with a sign where it is relative")
    return _number(what, place, match)


def _number(what: str, place: str, match: re.Match[str]) -> Change:
    sign, amount = match["sign"], float(match["digits"])
    signed = -amount if sign == "-" else amount
    if match["share"]:
        if what not in _BY_SHARE:
            raise ValueError(
                f"{what} takes no share; say it in {(STATION_KEYS | VESSEL_KEYS)[what]}"
            )
        if not sign:
            raise ValueError(f"a share of {what} needs a sign, such as {what}=+10%")
        return Change(what, "factor", signed, place)  # type: ignore[arg-type]
    return Change(what, "by" if sign else "to", signed, place)  # type: ignore[arg-type]


def _keys_in_words(station: Station) -> str:
    one = next((v.name for v in station.of_kind("settler")), "VESSEL")
    return ", ".join([*STATION_KEYS, *(f"{one}.{key}" for key in VESSEL_KEYS)])
