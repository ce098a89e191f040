"""Which mark parts decimals, by the evidence of a whole file, else asked about."""

import polars as pl
import pytest

from pipeline.base.errors import DataError
from pipeline.cells.decimals import Marks, number_marks
from pipeline.cells.numbers import to_numbers


def marks(values, delimiter=";", rest=()):
    frame = pl.DataFrame({"v": list(values)}, schema={"v": pl.String})
    more = [pl.DataFrame({"v": list(part)}, schema={"v": pl.String}) for part in rest]
    return number_marks("file", frame, ["v"], delimiter, more)


@pytest.mark.parametrize(
    ("values", "delimiter"),
    [
        (["3.103", "1.204", "45.120"], ";"),
        (["3.103", "1.204", "870"], ";"),
        (["3.103", "1.204"], "\t"),
        (["3,103", "1,204"], ";"),
        (["3,103", "1,204"], "\t"),
        (["3,103", "1,204"], ","),
        (["3,103", "1.204"], ";"),
        # One slip of the pen decides nothing against many.
        ([*(f"{k}.{100 + k}" for k in range(1, 60)), "7,4"], ";"),
    ],
)
def test_numbers_a_thousand_times_apart_are_asked_about(values, delimiter):
    with pytest.raises(DataError) as caught:
        marks(values, delimiter)
    assert " can be read as " in caught.value.what and " or as " in caught.value.what
    assert "decimal" in caught.value.next_step and "thousands" in caught.value.next_step


@pytest.mark.parametrize(
    ("values", "delimiter", "expected"),
    [
        (["3.103", "7.40", "6.9"], ";", Marks(".")),
        (["3.103", "0.204", "0.120"], ";", Marks(".")),
        (["3.103", "2100", "1870"], ";", Marks(".")),
        (["3.103", "1.204"], ",", Marks(".")),
        (["3,103", "7,40", "6,9"], ";", Marks(",")),
        (["3,103", "2100", "1870"], ";", Marks(",")),
        (["3.103", "7,40", "6,9"], ";", Marks(",", ".")),
        (["3,103", "7.40", "6.9"], ",", Marks(".", ",")),
        (["1.204.500", "2.100.000", "3.103"], ";", Marks(",", ".")),
        (["1,23,456.5", "2.5"], ",", Marks(".", ",")),
        (["3 103", "7,40", "6,9"], ";", Marks(",", " ")),
        (["3'103", "7.40", "6.9"], ",", Marks(".", "'")),
        (["7", "8", "9"], ";", Marks(".")),
    ],
)
def test_what_can_be_read_in_one_way_only_decides(values, delimiter, expected):
    assert marks(values, delimiter) == expected


def test_the_rows_after_the_first_are_asked_before_the_person():
    assert marks(["3.103", "1.204"], rest=[["2.450"], ["7,40", "6,95"]]) == Marks(",", ".")


@pytest.mark.parametrize(
    ("text", "value", "kind"),
    [
        ("3 103", 3103.0, None),
        ("3\u202f103", 3103.0, None),
        ("3'103", 3103.0, None),
        ("12 345 678", 12345678.0, None),
        ("3 10", None, "unreadable_text"),
        ("6.0-", None, "unreadable_text"),
        ("6.0 −", None, "unreadable_text"),
        ("6.0+", None, "unreadable_text"),
        ("2.7*", 2.7, "marked"),
    ],
)
def test_blanks_part_thousands_and_signs_stand_in_front(text, value, kind):
    frame = pl.DataFrame({"raw": [text]})
    found = to_numbers(frame, Marks("."), frozenset(("",)), ()).row(0, named=True)
    assert (found["value"], found["kind"]) == (value, kind)
