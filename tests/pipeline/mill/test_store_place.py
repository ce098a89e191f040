"""Where a store may lie: what the database takes for the end of a path is told before it is met."""

import sys
from pathlib import Path

import duckdb
import pytest

from pipeline.base.errors import ConfigError
from pipeline.mill.description import load_mill

DEMO = Path(__file__).resolve().parents[3] / "configs" / "demo_mill.toml"
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such names")


def described(folder, store):
    folder.mkdir()
    text = DEMO.read_text(encoding="utf-8").replace("../lostpol_store/brindlewater", store)
    (folder / "mill.toml").write_text(text, encoding="utf-8")
    return folder / "mill.toml"


@pytest.mark.parametrize(
    ("folder", "store", "word"),
    [("mill", "what?/store", "a ?"), ("what?", "store", "a ?"), ("mill", "a\\\\b", "a \\")],
)
def test_a_store_where_the_database_cannot_work_is_told(tmp_path, folder, store, word):
    with pytest.raises(ConfigError, match=r"mill\.store") as caught:
        load_mill(described(tmp_path / folder, store))
    assert f"with {word}" in str(caught.value)
    assert "Name a folder whose path has none" in str(caught.value)


def test_the_database_cannot_work_there_indeed(tmp_path):
    """What is refused for its sake may be allowed again when this fails."""
    (tmp_path / "what?").mkdir()
    with (
        pytest.raises(duckdb.Error),
        duckdb.connect(tmp_path / "what?" / "f.duckdb") as connection,
    ):
        connection.execute("CREATE TABLE t (a INTEGER)")


@pytest.mark.parametrize("store", ["#1", "100%25", "a b", "[x]", "it's", "café"])
def test_other_odd_names_are_fine(tmp_path, store):
    from pipeline.store.folders import store_of

    store = store_of(load_mill(described(tmp_path / "mill", store)))
    store.record_pull([], [])
    assert store.findings().is_empty()
    assert store.as_published().findings().is_empty()
