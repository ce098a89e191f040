"""What each column holds, told by its cells; a heading only settles what they leave open."""

import numpy as np
import polars as pl
import pytest

from pipeline.files import EXTRA, SHORT
from pipeline.intake.columns import look_at_columns, numbers, sampled, texts
from pipeline.layouts import When

N = 60


def role_of(cells, heading="x"):
    cells = [cells[k % len(cells)] for k in range(N)]
    rows = pl.DataFrame({"t": [str(k) for k in range(N)], heading: cells})
    (look,) = (c for c in look_at_columns(rows, When("t")) if c.name == heading)
    return look.role


@pytest.mark.parametrize(
    ("cells", "heading", "role"),
    [
        (["7.1", "7.3", "7.2"], "x", "number"),
        (["7,1", "<7,3", "7,2"], "x", "number"),
        (["", None], "x", "empty"),
        (["2025-10-06 00:00", "2025-10-06 00:10"], "x", "when"),
        (["m3/h", "pH", "degC", ""], "x", "unit"),
        (["%", "%"], "x", "unit"),
        (["pH", "Brix"], "Analysis", "group"),
        (["pH", "Brix"], "Unidad", "unit"),
        (["pH", "Brix", "%"], "x", "unit"),
        (["Good", "Good", "Bad"], "x", "quality"),
        (["192", "192", "0"], "x", "quality"),
        (["191", "190", "0"], "x", "number"),
        (["Mixed juice", "Clear juice"], "x", "group"),
        ([f"sample {k}" for k in range(N)], "x", "words"),
        (["pump looked at, seal of the shaft leaks a little, told the shift"], "x", "words"),
        (["1", "2", "3"], "Turno", "words"),
        (["1", "2", "3"], "x", "number"),
        ([str(k) for k in range(100, 100 + N)], "x", "counter"),
        ([str(3 * k) for k in range(N)], "No", "counter"),
    ],
)
def test_the_role_of_a_column(cells, heading, role):
    assert role_of(cells, heading) == role


def test_long_remarks_are_no_names():
    told = "the pump of the mud line was stopped for cleaning and started again at noon"
    assert role_of([told, told + " by hand"]) == "words"
    assert role_of(["all well", "pump stopped"], "Remarks") == "words"


def test_many_different_words_are_kept_to_a_number():
    rows = pl.DataFrame(
        {"t": [str(k) for k in range(9000)], "x": [f"w{k // 2}" for k in range(9000)]}
    )
    look = look_at_columns(rows, When("t"))[1]
    assert (look.role, len(look.different), look.filled) == ("words", 3000, 9000)


def test_numbers_whatever_parts_their_decimals():
    cells = pl.Series(["1,5", " 2.5 ", "<0,1", "1 200,5", "3.1*", "n.d.", "", None])
    found = numbers(cells)
    assert found[:5].tolist() == [1.5, 2.5, 0.1, 1200.5, 3.1]
    assert np.isnan(found[5:]).all()
    assert numbers(pl.Series([1, None, 3])).tolist()[::2] == [1.0, 3.0]


def test_cells_as_text():
    assert texts(pl.Series([" a ", None, "b"])).to_list() == ["a", "", "b"]
    assert texts(pl.Series([1.5, None])).to_list() == ["1.5", ""]


def test_a_sample_reaches_over_all_rows_and_leaves_out_marks_of_rows():
    rows = pl.DataFrame({"x": range(100_000), EXTRA: [False] * 100_000, SHORT: [1] * 100_000})
    found = sampled(rows)
    assert found.columns == ["x"]
    assert 40_000 <= found.height <= 80_000
    assert found["x"][-1] > 99_000
