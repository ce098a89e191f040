"""How causes, places, moments and numbers are said to people; foreign text made harmless."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.base import (
        Amount,
        Day,
        Edited,
        Figure,
        Measured,
        Parts,
        Phrase,
        Said,
        Stored,
        amount,
        counted,
        figure,
        filled,
        joined,
        said,
        stored,
    )
    from pipeline.words.baselines import (
        DEFINED,
        NO_FINDING,
        NO_FINDING_WHY,
        UNAVOIDABLE,
        USUAL,
        against_targets,
        headline_words,
        share_against_targets,
        worth_against_targets,
    )
    from pipeline.words.causes import CAUSES, CauseWords, caution_label, words_of
    from pipeline.words.evidence import Evidence, parsed_evidence, read_evidence
    from pipeline.words.lessons import lesson_words
    from pipeline.words.linebreaks import unparted, unparted_page
    from pipeline.words.localtime import (
        as_utc,
        chart_offset,
        clock_words,
        clocks_change,
        day_span,
        day_words,
        duration_words,
        moment_words,
        silence_words,
        span_words,
        zone_words,
    )
    from pipeline.words.packing import packed, unpacked
    from pipeline.words.points import (
        ANALYTES,
        QUANTITIES,
        analyte_words,
        place_words,
        point_words,
        stream_words,
    )
    from pipeline.words.rounding import (
        MISSING,
        bare_tonnes,
        count,
        feed_share,
        known,
        money,
        percent,
        plain,
        price_words,
        quantity,
        tonnes,
        unit_words,
    )
    from pipeline.words.text import clean, is_formula
    from pipeline.words.wording import (
        CHANNELS,
        UNCALIBRATED,
        channel_words,
        confidence_key,
        confidence_words,
        note_kind_words,
        notice_words,
        place_within,
        section_words,
        sensor_words,
        share_words,
        spoken_name,
        status_words,
        verdict_words,
        within_line,
    )
    from pipeline.words.worth import (
        NEEDS,
        OF_LABORATORY,
        analyses_words,
        cure_words,
        factor_words,
        juices_words,
        level_words,
        listed,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
