"""An answer as a notebook takes it: numbers by name, lists as frames in plant time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl


@dataclass(frozen=True, slots=True)
class Told:
    """What `lostpol period` or `lostpol replay` tells, key by key.

    ``told["lost_t"]`` is a number, ``told.frame("by_vessel")`` a list as a frame, and
    ``told.numbers()`` every number beside its key.

    Attributes
    ----------
    data : dict
        As the command writes it with ``--json``.
    zone : ZoneInfo
        The plant's.
    """

    data: Mapping[str, Any]
    zone: ZoneInfo

    def __getitem__(self, key: str) -> Any:  # noqa: ANN401  (numbers, words or lists)
        """Value of a key; moments in plant time."""
        return _moment(self.data[key], self.zone)

    def __iter__(self) -> Iterator[str]:
        """Keys."""
        return iter(self.data)

    def frame(self, key: str) -> pl.DataFrame:
        """A list as a frame, nested parts as columns of their own.

        Parameters
        ----------
        key : str
            Such as ``by_vessel``, ``by_driver``, ``moved_first``, ``findings`` or ``costs``.

        Raises
        ------
        KeyError
            There is no such list.
        """
        rows = self.data[key]
        if not isinstance(rows, list):
            lists = [name for name, value in self.data.items() if isinstance(value, list)]
            raise KeyError(f"{key} is no list; lists are {', '.join(lists)}")
        whole = [row if isinstance(row, dict) else {key: row} for row in rows]
        moments = [{k: _moment(v, self.zone) for k, v in row.items()} for row in whole]
        frame = pl.DataFrame(moments, infer_schema_length=None)
        nested = [name for name, kind in frame.schema.items() if isinstance(kind, pl.Struct)]
        return frame.unnest(nested, separator=".") if nested else frame

    def numbers(self) -> pl.DataFrame:
        """Every number of the answer by its key."""
        rows = [
            {"key": key, "value": float(value)}
            for key, value in self.data.items()
            if isinstance(value, int | float) and not isinstance(value, bool)
        ]
        return pl.DataFrame(rows, schema={"key": pl.String, "value": pl.Float64})


def _moment(value: Any, zone: ZoneInfo) -> Any:  # noqa: ANN401  (whatever JSON holds)
    """A moment in plant time; anything else as it is."""
    if not isinstance(value, str) or len(value) < 19 or value[10:11] != "T":
        return value
    try:
        moment = datetime.fromisoformat(value)
    except ValueError:
        return value
    return moment.astimezone(zone) if moment.tzinfo else value
