"""Whatever the exports hold, `describe` goes on and its draft loads.

Small exports are broken at random, always in the same way: foreign text in headings and cells,
columns taken out, doubled and moved, numbers that cannot be, rows that come twice. Nothing may
end it but the refusal of files that hold no reading at all.
"""

import random
import tomllib

import pytest
from slow_case import slow
from small_books import LEVELS, book_rows, long_rows, pair_rows, put, put_book, text_of, wide_rows

from pipeline.base import DataError
from pipeline.describe import describe_exports, draft_page, draft_summary
from pipeline.mill import load_mill

EVIL = (
    '"', "]]", "\n[mill]\n", "[[x]]", '"] \nname = "x', "\\", "\\u0000", "\u202e", "\x07", "'",
    "<script>alert(1)</script>", "{{7*7}}", "#", "%", "(m3/h)", " ", "{sheet}", "{tag}", "*",
    "^.*$", "\u00e9", "\U0001f600", "nan", "1", "-", "time", "tag", "value", "lab", "m3",
)  # fmt: skip
ODD = ("", "NaN", "inf", "-9999", "1e308", "-1e300", "1e-310", "<0.1", "12*", "n.d.", "0")


def loads(draft, folder):
    """The mill of a draft, which must load."""
    path = folder / "mill.toml"
    path.write_text(draft.text, encoding="utf-8")
    return load_mill(path)


def named(rng, rows):
    x = rng.randrange(len(rows[0]))
    rows[0][x] = rng.choice(("", rows[0][x])) + rng.choice(EVIL)


def renamed(rng, rows):
    x = rng.randrange(len(rows[0]))
    old, new = rows[1][x], rows[1][x] + rng.choice(EVIL)
    for row in rows[1:]:
        row[x] = new if row[x] == old else row[x]


def emptied(rng, rows):
    for row in rows[1:]:
        if rng.random() < 0.3:
            row[rng.randrange(len(row))] = rng.choice(ODD)


def held(rng, rows):
    x, cell = rng.randrange(len(rows[0])), rng.choice((*ODD, "x", "2025-10-06", "5.0"))
    for row in rows[1:]:
        row[x] = cell


def lost(rng, rows):
    x = rng.randrange(len(rows[0]))
    if len(rows[0]) > 1:
        for row in rows:
            del row[x]


def doubled(rng, rows):
    x = rng.randrange(len(rows[0]))
    for row in rows:
        row.append(row[x])


def moved(rng, rows):
    order = rng.sample(range(len(rows[0])), len(rows[0]))
    rows[:] = [[row[k] for k in order] for row in rows]


def joined(rng, rows):
    x, cells = rng.randrange(len(rows[0])), ("A", "Running", "2025-10-07", "1", "%", "m3/h")
    for k, row in enumerate(rows):
        row.insert(x, rng.choice(cells) if k else rng.choice(("state", "turno", "Fecha", "unit")))


def twice(_, rows):
    rows += [list(row) for row in rows[1:]]


def cut(rng, rows):
    del rows[rng.randrange(1, len(rows)) + 1 :]


def nameless(_, rows):
    rows[0] = [""] * len(rows[0])


BREAKS = (named, renamed, emptied, held, lost, doubled, moved, joined, twice, cut, nameless)
KINDS = (long_rows, wide_rows, pair_rows, book_rows)
SHEETS = ("Mixed juice", "x'y", '"q', "MX-FT-101", "Oct", "{sheet}")


def broken(rng):
    rows = rng.choice(KINDS)(count=24, seed=rng.randrange(99))
    for _ in range(rng.randrange(1, 5)):
        rng.choice(BREAKS)(rng, rows)
    return rows


def files_of(rng, folder):
    if rng.random() < 0.25:
        names = rng.sample(SHEETS, 2)
        return [put_book(folder / "book.xlsx", {name: broken(rng) for name in names})]
    paths = []
    for name in rng.sample(("lab.csv", 'q"uote.csv', "[x].csv", "st*r.csv"), 2):
        text = text_of(broken(rng), rng.choice(",;\t"), decimal=rng.choice((".", ".", ",")))
        path = folder / name
        path.write_bytes(text.encode(rng.choice(("utf-8", "utf-16", "cp1252")), "replace"))
        paths.append(path)
    return paths


@pytest.mark.parametrize("seed", [*range(10), *(slow(n) for n in range(10, 40))])
def test_describe_goes_on_and_its_draft_loads(tmp_path, seed):
    rng = random.Random(seed)
    files = files_of(rng, tmp_path)
    name = rng.choice(("Mill", 'e"v\n]', "\u202e", "", " ", "9", "\u00e9" * 90))
    column = rng.choice(("time", "tag", "value", "Date", "Sample", "pH"))
    given = {rng.choice(("time_column", "tag_column", "value_column")): column}
    try:
        draft = describe_exports(
            files, name, rng.choice((None, "Africa/Harare")), given=given if seed % 5 == 0 else {}
        )
    except DataError as error:
        assert "hold 0 series" in error.what or len(files) == 1
        return
    assert {f.name for f in draft.files} == {path.name for path in files}
    mill = loads(draft, tmp_path)
    assert mill.name.strip()
    assert draft_summary(draft)


@pytest.mark.slow
def test_a_name_is_no_way_out_of_its_place(tmp_path):
    levels = {f"MX-FT-101{text}".strip(): 300.0 for text in EVIL} | LEVELS
    path = put(tmp_path / "x.csv", long_rows(levels=levels, count=20))
    draft = describe_exports([path], "".join(EVIL), "Africa/Harare")
    mill = loads(draft, tmp_path)
    raw = tomllib.loads(draft.text)
    assert set(raw) <= {"mill", "exports", "targets", "train", "tags", "lab"}
    assert set(raw["tags"]) <= set(levels)
    assert raw["mill"]["key"] == mill.key
    assert {g.tag.name for g in draft.guesses} | {g.tag.name for g in draft.lab} == set(levels)
    page = draft_page(draft)
    assert "<script>alert" not in page
    assert "49" not in page.partition("MX-FT-101{{")[2][:20]


def test_where_nothing_is_placed_one_tag_stays_so_that_the_draft_loads(tmp_path):
    rows = wide_rows(("time", "a1", "b2", "c3"), {"a1": -4000.0, "b2": 1e7, "c3": -2.0})
    draft = describe_exports([put(tmp_path / "x.csv", rows)], "Mill", "Africa/Harare")
    assert draft.placed == 0
    (signal,) = loads(draft, tmp_path).station.signals
    assert (signal.quantity, signal.place) == ("other", "mill")
    assert "No tag or series could be given a place" in draft.text


def test_a_draft_with_a_placed_tag_keeps_no_other(tmp_path):
    draft = describe_exports([put(tmp_path / "x.csv", long_rows())], "Mill", "Africa/Harare")
    assert draft.placed
    assert 'quantity = "other"\nplace = "mill"' not in draft.text


def test_numbers_that_no_instrument_shows_are_bad(tmp_path):
    rows = wide_rows()
    for row in rows[5:9]:
        row[1] = "1e308"
    draft = describe_exports([put(tmp_path / "x.csv", rows)], "Mill", "Africa/Harare")
    (look,) = [g.tag for g in draft.guesses if g.tag.name == "MX-FT-101"]
    assert look.high < 400.0
    assert look.bad == 4
    assert loads(draft, tmp_path)


@pytest.mark.parametrize("moment", ["0001-01-01 00:00", "9999-12-31 23:50", "1970-01-01 00:00"])
def test_a_clock_that_was_far_off_for_a_reading(tmp_path, moment):
    rows = wide_rows()
    rows[7][0] = moment
    draft = describe_exports([put(tmp_path / "x.csv", rows)], "Mill", "Africa/Harare")
    assert {g.tag.name for g in draft.guesses} == set(LEVELS)
    assert loads(draft, tmp_path)
