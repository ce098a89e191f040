"""The drafted layouts: each file falls to its own, whatever the files are called."""

import tomllib
from fnmatch import fnmatchcase
from pathlib import Path

import pytest

from pipeline.intake.layout_lines import layout_sections
from pipeline.intake.propose import Proposal
from pipeline.intake.question import Question
from pipeline.intake.taken import Taken

LONG = {"shape": "long", "time_column": "time"}
WIDE = {"shape": "wide", "time_column": "Fecha"}


def taken(name, keys, **more):
    return Taken(Path(name), proposals=[Proposal("", (name,), keys)], **more)


def layouts(*files):
    lines, names = layout_sections(files)
    return tomllib.loads("\n".join(lines))["exports"].get("layout", []), names, lines


def falls_to(layouts, file):
    return next(x["name"] for x in layouts if fnmatchcase(file.casefold(), x["match"].casefold()))


@pytest.mark.parametrize(
    "files",
    [
        {"hist_1.csv": LONG, "hist_2.csv": LONG, "lab 2025.csv": WIDE},
        {"a.csv": LONG, "b.csv": LONG, "c.csv": WIDE},
        {"export1.csv": LONG, "export2.csv": WIDE, "export3.csv": LONG},
        {"[x].csv": LONG, "what?.csv": WIDE, "st*r.csv": LONG},
        {"[x] a.csv": LONG, "x a.csv": WIDE},
        {'q"uote.csv': LONG, "line\nbreak.csv": WIDE, "back\\slash.csv": LONG},
        {"x.csv": LONG, "x.xlsx": WIDE, "noending": WIDE},
        {"Week 41.csv": LONG, "WEEK 42.CSV": LONG, "Lab.csv": WIDE},
    ],
)
def test_each_file_falls_to_its_own_layout(files):
    found, names, _ = layouts(*(taken(name, keys) for name, keys in files.items()))
    shapes = {x["name"]: x["shape"] for x in found}
    assert len(shapes) == len(found)
    for name, keys in files.items():
        assert falls_to(found, name) == names[name]
        assert shapes[names[name]] == keys["shape"]


def test_a_file_of_next_week_falls_to_the_same_layout():
    found, names, _ = layouts(taken("hist 2025-41.csv", LONG), taken("lab_2025-41.csv", WIDE))
    assert falls_to(found, "hist 2025-42.csv") == names["hist 2025-41.csv"]
    assert falls_to(found, "lab_2025-42.csv") == names["lab_2025-41.csv"]


def test_foreign_text_stays_inside_its_string():
    evil = 'x"] \n[mill]\nname = "mine'
    found, _, _ = layouts(taken("a.csv", LONG | {"time_column": evil, "tag_columns": [evil]}))
    assert found[0]["time_column"] == evil
    assert found[0]["tag_columns"] == [evil]


def test_keys_that_were_asked_are_marked():
    question = Question("decimal", "a.csv", "Which?", (), "")
    one = taken("a.csv", LONG | {"heading_row": 3}, given={"decimal": ","}, questions=[question])
    _, _, lines = layouts(one)
    assert 'decimal = ","  # CONFIRM: asked, and taken as the likeliest' in lines
    assert "heading_row = 3" in lines


def test_files_that_were_not_read_get_none():
    assert layout_sections([Taken(Path("poem.txt"))]) == ([], {})
