"""A desk on a few searched days of the sample season."""

import json
import shutil

import duckdb
import polars as pl
import pytest
from desks import client_of, desk_for

from pipeline.mill.description import load_mill
from pipeline.store.folders import store_of
from pipeline.store.verdicts import give_verdict

#: Text that means something to a browser, a spreadsheet, a template or a terminal.
HOSTILE = "</script><script>alert('note')</script> =1+1 \u202e {{ 7*7 }} \"'>&"


@pytest.fixture(scope="session")
def mill(searched):
    return load_mill(searched / "demo_mill.toml")


@pytest.fixture(scope="session")
def first(mill):
    """The planted spell of too little lime."""
    sour = pl.col("cause") == "low_limed_ph"
    return store_of(mill).findings().filter(sour).row(0, named=True)


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
def shown(mill):
    """A client of a desk that nobody changes anything at."""
    return client_of(desk_for([mill], view_only=True))


@pytest.fixture
def desk(mine):
    """A desk on a copy of the mill."""
    return desk_for([mine])


@pytest.fixture
def client(desk):
    return client_of(desk)


@pytest.fixture
def hostile(copied):
    """The copied mill with hostile tag, name, evidence, verdict."""
    path = copied / "demo_mill.toml"
    text = path.read_text(encoding="utf-8")
    tag = "<img src=x onerror=alert(1)>"
    text = text.replace('"LT.AI212"', f'"{tag}"')
    path.write_text(text.replace('name = "Brindlewater"', 'name = "<b>Mill</b>"'), encoding="utf-8")
    made = load_mill(path)
    name = store_of(made).findings()["finding_id"][0]
    give_verdict(made, name, "confirmed", HOSTILE, "<i>me</i>")
    with duckdb.connect(made.database_path) as connection:
        evidence = {"facts": [{"text": HOSTILE, "value": 1.0, "unit": "<u>"}] * 6,
                    "alternatives": [{"cause": "<b>", "weight": 0.2}],
                    "verdicts": {"told": [HOSTILE]}}  # fmt: skip
        sql = "UPDATE findings SET evidence = ?, section = '<s>x</s>'"
        connection.execute(sql, [json.dumps(evidence)])
        connection.execute("UPDATE sensor_health SET tag = '<tag>' || tag, verdict = 'sick'")
    store_of(made).published.unlink(missing_ok=True)
    return made, name
