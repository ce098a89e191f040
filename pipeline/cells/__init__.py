"""What the text of one cell says: a number, a moment, a quality."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.cells.decimals import Marks, number_marks
    from pipeline.cells.formats import number_word, time_formats
    from pipeline.cells.months import month_of
    from pipeline.cells.numbers import to_numbers
    from pipeline.cells.quality import (
        UNKNOWN,
        Judge,
        column_judge,
        given_judge,
        looks_like_quality,
        may_be_flags,
        verdict,
    )
    from pipeline.cells.quality_asked import asked
    from pipeline.cells.quality_words import heading_says, is_of_remarks, word_meaning
    from pipeline.cells.times import EPOCHS, SERIAL, latest_moment, moments, no_moments
    from pipeline.cells.zone_words import (
        LOCAL,
        OPEN,
        ZoneSaid,
        folded,
        is_place,
        mentions_zone,
        zone_letters,
        zone_of,
    )
    from pipeline.cells.zones import local_to_utc, repeated
else:
    __getattr__ = handed_out(__name__, __file__)
