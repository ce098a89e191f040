"""Every formula against values from outside, read from tables that name their source."""

from __future__ import annotations

import importlib
import inspect
import re
import tomllib
from pathlib import Path

import pytest

import features

FOLDER = Path(__file__).parent / "published"
ROOMS = Path(features.__file__).parent
ROOT = ROOMS.parent
MARKS = {"confirmed", "computed", "memory", "common practice", "regression"}
OUTSIDE = MARKS - {"regression"}
MODULES = (
    *("juice", "steam", "boiling", "kinetics", "pol", "settling", "loss"),
    *("balances", "uncertainty"),
    *("acid", "held", "nominal", "transients"),
)


def _rows() -> list[dict]:
    rows = []
    for path in sorted(FOLDER.glob("*.toml")):
        rows += tomllib.loads(path.read_text(encoding="utf-8")).get("row", [])
    return rows


def _function(name: str):
    module, function = name.split(".")
    return getattr(_module(module), function)


def _module(name: str):
    """Module of that name, in whatever room it is."""
    (path,) = ROOMS.glob(f"*/{name}.py")
    return importlib.import_module(f"features.{path.parent.name}.{name}")


def _label(row: dict) -> str:
    return f"{row['function']}{row['inputs']}-{row['mark']}"


@pytest.mark.parametrize("row", _rows(), ids=_label)
def test_formula_meets_published_value(row):
    found = float(_function(row["function"])(*row["inputs"]))
    allowed = row.get("abs", 0.0) + row.get("rel", 0.0) * abs(row["expected"])
    assert allowed > 0.0
    assert abs(found - row["expected"]) <= allowed, (
        f"{row['function']}{row['inputs']} gives {found}, "
        f"{row['source']} ({row['mark']}) says {row['expected']}"
    )


def test_rows_name_source_and_mark():
    for row in _rows():
        assert row["mark"] in MARKS, _label(row)
        assert len(row["source"]) > 5, _label(row)


def _listed() -> set[str]:
    """Sources in the list of the README, by author and year."""
    readme = (ROOT / "features" / "README.md").read_text("utf-8")
    return set(re.findall(r"^- \*\*(.+?)\*\*: ", readme, re.MULTILINE))


def test_confirmed_rows_name_a_source_of_the_list():
    keys = _listed()
    for row in _rows():
        if row["mark"] == "confirmed":
            assert row["source"].startswith(tuple(keys)), f"{_label(row)}: {row['source']}"


def test_every_source_named_by_author_and_year_is_in_the_list():
    text = "\n".join(
        path.read_text("utf-8")
        for folder, kind in (
            ("features", "py"),
            ("tests/features", "py"),
            ("tests/features", "toml"),
        )
        for path in sorted((ROOT / folder).rglob(f"*.{kind}"))
    )
    named = set(
        re.findall(r"(?:(?:van|de) )?[A-Z][a-z]+(?:-[A-Z][a-z]+)?\s+(?:18|19|20)\d\d\b", text)
    )
    named = {" ".join(one.split()) for one in named} - {"CODATA 2018"}
    assert named - _listed() == set()
    assert _listed() - named == {"JIS Z 8802"}


def test_every_public_formula_has_an_outside_value_or_a_reason():
    public = {
        f"{module}.{name}"
        for module in MODULES
        for name, item in inspect.getmembers(_module(module), inspect.isfunction)
        if item.__module__ == _module(module).__name__ and not name.startswith("_")
    }
    checked = {row["function"] for row in _rows() if row["mark"] in OUTSIDE}
    reasons = tomllib.loads((FOLDER / "no_outside_value.toml").read_text(encoding="utf-8"))
    assert public - checked - set(reasons) == set(), "no outside value and no reason stated"
    assert set(reasons) - public == set(), "reason for a function that does not exist"
    assert set(reasons) & checked == set(), "reason no longer needed"
