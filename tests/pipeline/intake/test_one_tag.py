"""Series that stand in the names of files and sheets."""

import pytest
from small_books import looked_at, put, wide_rows

from pipeline.intake import Answers, take_all
from pipeline.intake.one_tag import names_of_files, says_when, shared_start, stem_of


@pytest.mark.parametrize(
    ("files", "names"),
    [
        (["MX-FT-101.csv", "LM-AT-212.csv"], ["MX-FT-101", "LM-AT-212"]),
        (["hist_FT101_202510.csv", "hist_AT212_202510.csv"], ["FT101", "AT212"]),
        (["FT101_2025-10.csv", "FT101_2025-11.csv"], ["FT101", "FT101"]),
        (["export FT-101 oct.csv.gz", "export AT-212 oct.csv.gz"], ["FT-101", "AT-212"]),
        (["tank_101.csv", "tank_102.csv"], ["tank_101", "tank_102"]),
        (["log_101.csv", "log_102.csv"], ["101", "102"]),
        (["FT101 06-10-2025.csv", "FT101 07-10-2025.csv"], ["FT101", "FT101"]),
        (["2025-10.csv"], ["10"]),
        (["FT101.csv"], ["FT101"]),
        (["...csv"], [""]),
    ],
)
def test_what_files_of_one_kind_are_named_after(files, names):
    assert names_of_files(files) == names


@pytest.mark.parametrize(
    "name",
    [
        "Oct",
        "octubre 2025",
        "Semana 3",
        "2025",
        "Hoja1",
        "12",
        "Mes",
        "Sheet 2",
        "oct25",
        "202510",
        "Zafra 2025",
    ],
)
def test_names_of_sheets_that_say_when(name):
    assert says_when(name)


@pytest.mark.parametrize("name", ["FT101", "TIC2201", "SET101", "Clear juice", "Jugo claro", "pH"])
def test_names_of_sheets_that_say_what(name):
    assert not says_when(name)


def test_names_without_their_endings():
    assert stem_of("a.b.csv.gz") == "a.b"
    assert stem_of("LIMS.XLSX") == "LIMS"
    assert shared_start(["abc", "abd"]) == "ab"
    assert shared_start(["abc"]) == "abc"
    assert shared_start(["ab", "abc"]) == "ab"


def one(path, column=1):
    return put(path, [["time", "value"], *([r[0], r[column]] for r in wide_rows()[1:])])


def test_a_tag_a_file(tmp_path):
    paths = [one(tmp_path / "hist_FT101.csv"), one(tmp_path / "hist_AT212.csv", 2)]
    found = take_all(paths, {}, Answers("UTC"))
    assert [t.names for t in found] == [{"FT101"}, {"AT212"}]
    assert all("shape" not in t.keys for t in found)


def test_a_file_whose_name_is_the_tag_says_so_in_its_layout(tmp_path):
    (found,) = take_all([one(tmp_path / "FT-101.csv")], {}, Answers("UTC"))
    assert found.names == {"FT-101"}
    assert found.keys["tag_columns"] == ["{file}"]


def test_a_heading_of_its_own_names_the_series(tmp_path):
    path = put(tmp_path / "a.csv", [["time", "FT-101"], *([r[0], r[1]] for r in wide_rows()[1:])])
    assert looked_at(path).names == {"FT-101"}


@pytest.mark.parametrize(
    ("files", "names"),
    [
        (["Decant_Tmp.txt", "Decant_Nivel.txt"], ["Decant_Tmp", "Decant_Nivel"]),
        (["T_out.csv", "T_in.csv"], ["T_out", "T_in"]),
        (["export_TJC_2025-10-01_2025-10-14.csv"], ["TJC"]),
        (["LT-AI-212 oct.csv"], ["LT-AI-212"]),
    ],
)
def test_a_word_that_begins_like_a_month_and_what_all_names_share_stay(files, names):
    assert names_of_files(files) == names


def test_a_sheet_called_after_a_vessel_says_no_month():
    assert not says_when("Decantador")
    assert says_when("Outubro")
