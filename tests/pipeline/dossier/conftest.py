"""A few days of the sample season, searched once; dossiers of its first finding."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.dossier.write import write_dossier
from pipeline.mill.description import load_mill
from pipeline.store.folders import store_of
from pipeline.store.naming import chosen
from pipeline.store.verdicts import give_verdict

ROOT = Path(__file__).resolve().parents[3]
HOSTILE_TAGS = {
    "LT.AI212": "<script>alert('tag')</script>",
    "LT.FI211": '=HYPERLINK("http://x.example","y")',
    "ST.AI308": "</script><img src=x onerror=alert(1)>",
    "MJ.AI104": "\\u202egnp.exe \\u2028\\u2029 tag",
    "MJ.FI101": "T" * 3000,
    "LT.TI214": "درجة حرارة العصير",
    "LT.LI213": "null",
}
NOTE = "</script><script>alert('note')</script> =1+1 \u202e {{ 7*7 }}"


@pytest.fixture(scope="session")
def mill(searched):
    return load_mill(searched / "demo_mill.toml")


@pytest.fixture(scope="session")
def first(mill):
    """The planted spell of too little lime."""
    sour = pl.col("cause") == "low_limed_ph"
    return store_of(mill).findings().filter(sour).row(0, named=True)


@pytest.fixture(scope="session")
def page(mill, first):
    """Dossier of that spell, in its place in the store."""
    return write_dossier(mill, first["finding_id"])


@pytest.fixture
def copied(tmp_path, searched):
    """A copy of the mill to work on."""
    shutil.copytree(searched, tmp_path / "mill")
    return tmp_path / "mill"


@pytest.fixture
def mine(copied):
    """The copied mill, read."""
    return load_mill(copied / "demo_mill.toml")


@pytest.fixture(scope="session")
def hostile_tags():
    """What each tag is called in the hostile mill."""
    return HOSTILE_TAGS


@pytest.fixture(scope="session")
def hostile_page(tmp_path_factory, searched, first):
    """Dossier in a mill whose tags, name, evidence and verdicts are hostile."""
    folder = tmp_path_factory.mktemp("hostile") / "mill"
    shutil.copytree(searched, folder)
    path = folder / "demo_mill.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in HOSTILE_TAGS.items():
        quoted = new.replace('"', '\\"')
        assert f'"{old}"' in text
        text = text.replace(f'"{old}"', f'"{quoted}"')
    path.write_text(text.replace('name = "Brindlewater"', 'name = "<b>Mill</b>"'), encoding="utf-8")
    mill = load_mill(path)
    give_verdict(mill, first["finding_id"], "confirmed", NOTE, "<i>me</i>")
    row = chosen(store_of(mill).findings(), first["finding_id"])
    evidence = json.loads(row["evidence"])
    evidence["facts"] = [{"text": NOTE, "value": 1.0, "unit": "<u>"}] * 6
    evidence["alternatives"] = [{"cause": "<b>", "weight": 0.2}]
    with duckdb.connect(mill.database_path) as connection:
        sql = "UPDATE findings SET evidence = ? WHERE finding_id = ?"
        connection.execute(sql, [json.dumps(evidence), row["finding_id"]])
    store_of(mill).published.unlink(missing_ok=True)
    return write_dossier(mill, row["finding_id"], folder / "x")
