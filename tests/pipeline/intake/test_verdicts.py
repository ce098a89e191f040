"""What became of each file, in words."""

import pytest
from small_books import book_rows, long_rows, looked_at, put, wide_rows

from pipeline.describe import describe_exports
from pipeline.intake.verdicts import why_left


def draft(*paths, zone="Africa/Harare", **given):
    return describe_exports(paths, "Mill", zone, given=given)


def verdicts(*paths, **given):
    return {f.name: f for f in draft(*paths, **given).files}


@pytest.fixture
def station(tmp_path):
    return put(tmp_path / "station.csv", long_rows())


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("poem.txt", "roses are red,violets\nare,blue\n", "no column of it holds dates"),
        ("heads.csv", "time,tag,value\n", "nothing below its headings"),
        ("empty.csv", "", "empty"),
        ("nan.csv", "time,a\n2025-10-06 00:00,NaN\n2025-10-06 00:10,NaN\n", "holds numbers"),
        ("bare.csv", "2025-10-06 00:00,1\n2025-10-06 00:10,2\n2025-10-06 00:20,3\n", "headings"),
        ("wide.csv", "time" + ",x" * 10_000 + "\n1" + ",1" * 10_000 + "\n", "10,001 columns"),
    ],
)
def test_files_that_are_no_exports_are_told_of_and_stop_nothing(
    tmp_path, station, name, content, words
):
    path = tmp_path / name
    path.write_text(content, encoding="utf-8")
    found = verdicts(station, path)
    assert found["station.csv"].verdict == "read"
    assert found[name].verdict == "not read"
    assert words in found[name].words


def test_a_picture_and_a_file_that_is_not_there_stop_nothing(tmp_path, station):
    (tmp_path / "p.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
    found = verdicts(station, tmp_path / "p.png", tmp_path / "gone.csv")
    assert [found[name].verdict for name in ("p.png", "gone.csv")] == ["not read", "not read"]


def test_how_a_file_was_read_is_told(tmp_path, station):
    book = put(tmp_path / "lab.csv", book_rows(), ";", decimal=",")
    found = verdicts(station, book)
    assert "one reading a row" in found["station.csv"].words
    assert (found["station.csv"].tags, found["station.csv"].readings) == (3, 120)
    assert 'the sample in "Sample"' in found["lab.csv"].words
    assert "decimal comma" in found["lab.csv"].words


def test_a_question_is_marked_in_the_draft_with_all_its_answers(tmp_path):
    path = put(tmp_path / "x.csv", long_rows(pattern="%d/%m/%Y %H:%M"))
    told = draft(path)
    assert told.files[0].verdict == "asked"
    assert "# CONFIRM time_format: x.csv: " in told.text
    assert '#   time_format = "%m/%d/%Y %H:%M"  month/day' in told.text
    assert 'time_format = "%d/%m/%Y %H:%M"  # CONFIRM: asked' in told.text


def test_two_juices_in_one_column_are_asked_about_and_left_out(tmp_path, station):
    """However often their moments come, they are no instrument either."""
    rows = [row[:2] + row[3:] for row in book_rows() if row[2] != "Limed juice"]
    told = draft(station, put(tmp_path / "lab.csv", rows))
    (book,) = (f for f in told.files if f.name == "lab.csv")
    assert book.verdict == "asked"
    assert "several juices in one column" in book.words
    assert '[tags."pH"]' not in told.text
    assert {g.tag.name for g in told.lab} == {"pH", "Brix", "RS"}
    assert all(g.place is None for g in told.lab)


def test_what_was_typed_for_another_kind_of_file_is_told(tmp_path, station):
    rows = wide_rows(("Moment", "FT-101", "AT-212", "TT-330"))
    found = verdicts(station, put(tmp_path / "w.csv", rows), time_column="Moment")
    assert found["w.csv"].verdict == "read"
    assert found["station.csv"].verdict == "read"
    assert 'called as typed: time_column = "Moment"' in found["station.csv"].words


def test_a_list_of_tags_needs_no_column_that_was_typed(tmp_path, station):
    listed = [["tag", "what", "eu"], ["MX-FT-101", "flow of mixed juice", "m3/h"]]
    listed += [["LM-AT-212", "pH limed juice", "pH"], ["ST-TT-330", "settler temperature", "degC"]]
    found = verdicts(station, put(tmp_path / "tags.csv", listed), time_column="time")
    assert found["tags.csv"].words.startswith("a list of 3 tags, of which 3")
    assert "time_column" not in found["station.csv"].words.partition("typed")[2]


def test_a_list_of_another_mill_is_asked_about(tmp_path, station):
    listed = [["tag", "eu"], *([f"BOIL-{k}", "t/h"] for k in range(30))]
    found = verdicts(station, put(tmp_path / "tags.csv", listed))
    assert found["tags.csv"].verdict == "asked"
    assert "of which only 0" in found["tags.csv"].words


def test_why_a_file_was_left(tmp_path):
    path = put(tmp_path / "x.csv", [["a", "b"], ["x", "y"], ["z", "w"]])
    assert "no list of these tags" in why_left(looked_at(path))
