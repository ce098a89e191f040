"""Zones as a description may name them: by an IANA name, or as a fixed offset from UTC."""

from __future__ import annotations

import re
from typing import Final

#: ISO 8601 offsets that some place on earth has had: up to 15 hours either way.
_OFFSET: Final = re.compile(r"([+-])(0\d|1[0-5]):([0-5]\d)")


def offset_s(zone: str) -> int | None:
    """Seconds that a fixed offset such as ``-03:00`` is ahead of UTC; None for another zone."""
    found = _OFFSET.fullmatch(zone)
    if found is None:
        return None
    length = int(found[2]) * 3600 + int(found[3]) * 60
    return length if found[1] == "+" else -length
