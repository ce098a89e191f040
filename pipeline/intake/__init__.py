"""How exports that nobody has described are best read, and what they leave open."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.intake.asking import Answers, Chooser, by_number
    from pipeline.intake.columns import numbers, texts
    from pipeline.intake.intake import files_in, read_all, take_all
    from pipeline.intake.lab_words import (
        LIMED,
        analyte_of,
        basis_of,
        point_of,
        says_composite,
        spaced,
    )
    from pipeline.intake.lab_words import Point as SamplingPoint
    from pipeline.intake.layout_lines import layout_sections
    from pipeline.intake.question import FileVerdict, Question, Verdict
    from pipeline.intake.remarks import quoted, remark
    from pipeline.intake.taken import Table, Taken, parsed
    from pipeline.intake.verdicts import file_lines, question_lines, verdict_of, why_left
else:
    __getattr__ = handed_out(__name__, __file__)
