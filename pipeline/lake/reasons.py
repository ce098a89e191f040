"""Why rows were refused, or readings kept as bad, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from pipeline.base import said

#: By the names that lake and store keep.
_WORDS: Final[Mapping[str, str]] = {
    "above_detection": said("above detection"),
    "bad_quality": said("bad quality"),
    "below_detection": said("below detection"),
    "cells_too_few": said("cells too few"),
    "cells_too_many": said("cells too many"),
    "empty_cell": said("empty cell"),
    "filler": said("filler"),
    "heading_again": said("heading again"),
    "in_the_future": said("in the future"),
    "local_time_repeated": said("local time repeated"),
    "local_time_skipped": said("local time skipped"),
    "marked": said("marked"),
    "no_result": said("no result"),
    "no_value": said("no value"),
    "not_a_number": said("not a number"),
    "quality_not_understood": said("quality not understood"),
    "tag_absent": said("tag absent"),
    "tag_not_in_mill": said("tag not in mill"),
    "time_unreadable": said("time unreadable"),
    "two_values": said("two values"),
    "uncertain_quality": said("uncertain quality"),
    "units_again": said("units again"),
    "unreadable_text": said("unreadable text"),
    "zone_unreadable": said("zone unreadable"),
}


def reason_words(reason: str) -> str:
    """Say why a row was refused; one that is not known as it is kept, with blanks."""
    return _WORDS.get(reason, reason.replace("_", " "))
