"""What is installed: locks that fit, nothing missing at run time, licences listed, no GPL."""

import ast
import builtins
import re
import sys
from importlib.metadata import PackageNotFoundError, distribution, packages_distributions
from pathlib import Path

import pytest
from slow_case import slow

from pipeline.base import ConfigError, needing

ROOT = Path(__file__).resolve().parents[1]
RUN, EXTRAS, DEV = (f"requirements{part}.lock" for part in ("", "-extras", "-dev"))
OWN = {"pipeline", "models", "features"}
#: Where only some mills' libraries may be loaded.
OF_EXTRAS = {
    "pipeline/schedule": {"prefect", "prefect-dask", "dask", "distributed"},
    "pipeline/sources/opcua.py": {"asyncua"},
    "pipeline/sources/sql.py": {"sqlalchemy"},
    "pipeline/sources/encryption.py": {"sqlalchemy"},
    "pipeline/lake/objects.py": {"fsspec"},
}


def plain(name):
    """A name as the packaging standards compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def pins(lock):
    text = (ROOT / lock).read_text(encoding="utf-8")
    return set(re.findall(r"^([A-Za-z0-9_.-]+==\S+)", text, re.MULTILINE))


def names(lock):
    return {plain(pin.partition("==")[0]) for pin in pins(lock)}


def listed(part):
    """Licences of a part of pipeline/LICENCES.md, by package."""
    text = (ROOT / "pipeline" / "LICENCES.md").read_text(encoding="utf-8").split("\n## ")[part]
    rows = re.findall(r"^\| ([a-z0-9.-]+) \| ([^|]+) \|$", text, re.MULTILINE)
    found = dict(rows)
    assert len(found) == len(rows)
    del found["package"]
    return found


def declared(name):
    """All that an installed package says of its licence."""
    try:
        known = distribution(name).metadata
    except PackageNotFoundError:
        return None  # of another system, or of another Python
    kinds = [line for line in known.get_all("Classifier", []) if line.startswith("License")]
    short = (known.get("License") or "").strip().split("\n")[0]
    return "; ".join([known.get("License-Expression") or "", short, *kinds])


def says_gpl(text):
    """GPL itself, not the Lesser one."""
    rest = re.sub(r"(?i)lesser general public|lgpl", "", text)
    return re.search(r"(?i)\bgpl|general public license", rest) is not None


@pytest.mark.parametrize("lock", [RUN, EXTRAS, DEV])
def test_locks_name_no_host_and_hold_a_hash_for_everything(lock):
    text = (ROOT / lock).read_text(encoding="utf-8")
    assert not re.search(r"://|--(extra-)?index-url|--find-links|--trusted-host", text)
    for block in re.split(r"\n(?=\S)", text):
        assert block.startswith("#") or "--hash=sha256:" in block, block[:80]


def test_each_lock_adds_to_the_one_before_and_changes_nothing():
    assert pins(RUN) < pins(EXTRAS) < pins(DEV)


def test_licences_listed_are_those_of_the_locks():
    assert set(listed(1)) == names(RUN)
    assert set(listed(2)) == names(EXTRAS) - names(RUN)


def test_nothing_that_runs_is_under_gpl():
    run = {name: f"{words}; {declared(name)}" for name, words in listed(1).items()}
    assert len([name for name in run if declared(name)]) > 40
    assert [
        name for name, words in run.items() if re.search(r"(?i)gpl|general public", words)
    ] == []
    extras = {name: f"{words}; {declared(name)}" for name, words in listed(2).items()}
    # Dual: it may be had under the Artistic License, and is.
    assert [name for name, words in extras.items() if says_gpl(words)] == ["text-unidecode"]
    assert listed(2)["text-unidecode"].startswith("Artistic")


def test_listed_words_are_those_that_packages_declare():
    told = listed(1) | listed(2)
    for name, words in told.items():
        expression = declared(name) and distribution(name).metadata.get("License-Expression")
        if expression and name not in {"flexcache"}:
            assert words == expression, name


def third_party(path):
    """Top names of what a file imports, wherever in it, types alone left out."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.partition(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield node.module.partition(".")[0]


def test_what_runs_is_all_in_the_run_time_lock():
    makers = packages_distributions()
    run = names(RUN)
    for path in (p for room in OWN for p in (ROOT / room).rglob("*.py")):
        where = path.relative_to(ROOT).as_posix()
        allowed = set().union(*(v for k, v in OF_EXTRAS.items() if where.startswith(k)))
        for top in set(third_party(path)) - OWN - sys.stdlib_module_names:
            held = {plain(maker) for maker in makers[top]}
            assert held & (run | allowed), f"{where} imports {top}, which {RUN} does not hold"


def absent(monkeypatch, *tops):
    """Let libraries be missing, as on a machine that never installed them."""
    real = builtins.__import__

    def imported(name, *args, **kwargs):
        if name.partition(".")[0] in tops:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
        return real(name, *args, **kwargs)

    gone = [m for m in sys.modules if m.partition(".")[0] in tops]
    gone += [m for m in sys.modules if m.startswith(("pipeline.schedule", "pipeline.sources."))]
    for module in gone:
        monkeypatch.delitem(sys.modules, module)
    for room in ("schedule", "sources"):
        monkeypatch.delitem(sys.modules, f"pipeline.{room}", raising=False)
    monkeypatch.setattr(builtins, "__import__", imported)


MILL = str(ROOT / "configs" / "demo_mill.toml")


@pytest.mark.parametrize(
    ("typed", "tops", "extra"),
    [
        (["serve", MILL], ("prefect",), "serve"),
        (["backfill", MILL, "--cluster"], ("prefect",), "cluster"),
        slow(["backfill", MILL, "--cluster"], ("distributed",), "cluster"),
    ],
)
def test_a_command_says_which_set_is_missing(typed, tops, extra, monkeypatch, capsys):
    from pipeline.cli.app import run

    absent(monkeypatch, *tops)
    assert run(typed) == 2
    said = capsys.readouterr().err
    assert f"({tops[0]})" in said and f"'.[{extra}]'" in said
    assert "Traceback" not in said


@pytest.mark.parametrize(
    ("source", "top", "extra"),
    [
        ('kind = "opcua"\nurl = "opc.tcp://127.0.0.1:9"', "asyncua", "opcua"),
        ('kind = "sql"\nurl = "sqlite:///history.db"', "sqlalchemy", "sql"),
        ('kind = "sql"\nurl = "postgresql://127.0.0.1:9/history"', "psycopg", "sql"),
    ],
)
def test_a_direct_source_says_which_set_is_missing(
    source, top, extra, tmp_path, monkeypatch, capsys
):
    from pipeline.cli.app import run

    text = Path(MILL).read_text(encoding="utf-8")
    columns = 'table = "h"\ntime_column = "t"\ntag_column = "n"\nvalue_column = "v"\n'
    more = columns if extra == "sql" else 'node_pattern = "ns=2;s={tag}"'
    mill = tmp_path / "mill.toml"
    mill.write_text(f'{text}\n[[source]]\nname = "history"\n{source}\n{more}', encoding="utf-8")
    absent(monkeypatch, top)
    assert run(["pull", str(mill), "--from-source", "--from", "2025-10-09"]) == 2
    said = capsys.readouterr().err
    assert f"'.[{extra}]'" in said and "not installed" in said, said


def test_a_lake_in_an_object_store_says_which_set_is_missing(tmp_path, monkeypatch):
    from pipeline.lake.objects import ObjectStorage

    absent(monkeypatch, "fsspec")
    with pytest.raises(ConfigError, match=r"\.\[objects\]"):
        ObjectStorage(f"s3://nobody/{tmp_path.name}").exists("a")


def test_a_fault_of_our_own_is_no_missing_set():
    with pytest.raises(ModuleNotFoundError), needing("serve"):
        raise ModuleNotFoundError("No module named 'pipeline.gone'", name="pipeline.gone")
