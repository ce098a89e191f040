"""What each command loads: a list nobody needs twice is not to wait for the search's libraries."""

import json
import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime

import polars as pl
import pytest
from checkouts import ROOT, small_checkout

from pipeline.cli import demo
from pipeline.mill.description import load_mill
from pipeline.stages import stages
from pipeline.store.folders import store_of

#: Loading any of these takes a twentieth of a second of processor time or more, some a whole one.
HEAVY = frozenset(
    {
        *("altair", "asyncua", "dask", "distributed", "duckdb", "fsspec", "jinja2", "numpy"),
        *("pandas", "pint", "polars", "prefect", "psycopg", "pyarrow", "pydantic", "ruptures"),
        *("python_calamine", "scipy.linalg", "scipy.signal", "scipy.sparse"),
        *("scipy.special", "scipy.stats", "sklearn", "sqlalchemy", "vl_convert", "xlsxwriter"),
        # Rooms of our own that only some commands work in.
        *("models.judge", "models.simulator", "pipeline.describe", "pipeline.proof"),
        *("pipeline.exports.passes", "pipeline.layouts.layout"),
    }
)
DESCRIPTION = {"numpy", "polars", "pydantic"}
STORE = DESCRIPTION | {"duckdb"}
FLOW = {"scipy.linalg", "scipy.special"}
STANDING = ["standing", "--ph", "6.9", "--ph-at", "cold", "--temp", "97", "--brix", "15"]
STANDING += ["--hours", "8"]
LOADS = {
    "--help": (["--help"], set()),
    "findings": (["findings", "MILL"], STORE),
    "findings --json": (["findings", "MILL", "--json"], STORE),
    "verdicts": (["verdicts", "MILL"], STORE),
    "outbox": (["outbox", "MILL"], DESCRIPTION),
    "check": (["check", "MILL"], STORE),
    "check of a new description": (["check", "NEW"], DESCRIPTION),
    "standing": (STANDING, STORE | {"scipy.special"}),
    "explain": (["explain", "MILL", "ID", "--out", "OUT"], STORE | FLOW | {"jinja2"}),
    "period": (
        ["period", "MILL", "--from", "2025-10-11 06:00", "--to", "2025-10-11 12:00"],
        STORE | FLOW | {"jinja2"},
    ),
}
#: Runs a command as the shell would, then tells what was loaded.
PROGRAM = """
import json, sys
from pipeline.cli.app import main
try:
    main()
except SystemExit as end:
    code = end.code or 0
print(json.dumps([code, sorted(sys.modules)]), file=sys.stderr)
"""


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    """A mill with four and a half days searched."""
    tags = (datetime(2025, 10, 9, tzinfo=UTC), datetime(2025, 10, 13, 12, tzinfo=UTC))
    lab = ("2025-10-08 20", "2025-10-13 08")
    checkout = small_checkout(tmp_path_factory.mktemp("checkout"), tags, lab)
    made, files = demo.prepare(tmp_path_factory.mktemp("searched"), checkout)
    stages.pull(made, files)
    stages.derive(made)
    stages.detect(made, "backfill")
    return load_mill(made.config_path)


@pytest.mark.parametrize("command", LOADS)
def test_a_command_loads_what_it_needs_and_no_more(command, mill, tmp_path):
    typed, allowed = LOADS[command]
    sour = store_of(mill).findings().filter(pl.col("cause") == "low_limed_ph")
    words = {"MILL": str(mill.config_path), "ID": sour["finding_id"][0], "OUT": str(tmp_path)}
    words["NEW"] = str(shutil.copy(mill.config_path, tmp_path / "new_mill.toml"))
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *(words.get(word, word) for word in typed)],
        cwd=ROOT,
        env=os.environ | {"OMP_NUM_THREADS": "1", "POLARS_MAX_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    code, loaded = json.loads(done.stderr.splitlines()[-1])
    assert code == 0, done.stdout + done.stderr
    assert HEAVY & set(loaded) == allowed
