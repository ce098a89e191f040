"""Any period: times as people say them, its account from the lake, what moved first."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.period.answered import (
        Answer,
        answer,
        not_computed,
        scaled,
    )
    from pipeline.period.for_programs import (
        as_data,
    )
    from pipeline.period.moments import (
        beside_of,
        moment_of,
        period_of,
    )
    from pipeline.period.moves import (
        Around,
        Told,
        around,
        told_of,
    )
    from pipeline.period.notes import (
        add_notes,
        note_of,
        notes_of,
        read_calendar,
        withdraw_note,
    )
    from pipeline.period.notes_file import (
        notes_path,
    )
    from pipeline.period.of_finding import (
        known_of,
        note_words,
        told_findings,
        told_of_finding,
        with_sentence,
    )
    from pipeline.period.reckoned import (
        Reckoned,
        reckon,
    )
    from pipeline.period.sentence import (
        explained,
        moment_of_move,
        moved_as_data,
        named_as_data,
        sentence_of,
        tags_of,
        unit_of,
        what_of,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
