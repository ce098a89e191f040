"""Folders where exports are expected: what a layout is for is taken, the rest is told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.base.errors import ConfigError
from pipeline.cli.app import run
from pipeline.cli.folders import exports_named
from pipeline.mill.description import load_mill
from pipeline.mill.export_layout import Exports

ROOT = Path(__file__).resolve().parents[3]
MILL = load_mill(ROOT / "configs" / "demo_mill.toml")


def folder(tmp_path, *names):
    for name in names:
        (tmp_path / name).write_text("x", encoding="utf-8")
    return tmp_path


def test_of_a_folder_the_files_that_a_layout_is_for_are_taken_and_the_rest_told(tmp_path):
    told: list[str] = []
    found = exports_named(
        MILL, [folder(tmp_path, "tags_1.parquet", "lab.parquet", "a.txt")], told.append
    )
    assert [p.name for p in found] == ["lab.parquet", "tags_1.parquet"]
    assert told == [
        f"In the folder {tmp_path.name}, no export that the description knows: a.txt. Left out."
    ]


def test_a_file_that_is_named_is_taken_whatever_its_name(tmp_path):
    path = folder(tmp_path, "a.txt") / "a.txt"
    assert exports_named(MILL, [path], print) == [path]


def test_without_layouts_all_files_of_a_folder_count(tmp_path):
    bare = replace(MILL, exports=Exports())
    assert len(exports_named(bare, [folder(tmp_path, "a.csv", "b.csv")], print)) == 2


def test_a_folder_without_such_exports_is_an_error_with_a_cure(tmp_path, capsys):
    with pytest.raises(ConfigError, match="None of the 1 files"):
        exports_named(MILL, [folder(tmp_path, "a.txt")], print)
    assert run(["check", str(ROOT / "configs" / "demo_mill.toml"), str(tmp_path)]) == 2
    assert "Traceback" not in capsys.readouterr().err
