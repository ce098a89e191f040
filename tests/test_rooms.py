"""The contracts between rooms hold, and each fails where it is broken on purpose."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
LINTER = Path(sys.executable).with_name("lint-imports")
#: Contract (the beginning of its name), a file, and the line that breaks it there.
BREACHES = (
    ("Imports point one way", "features/juice/juice.py", "import models.search"),
    ("Rooms of pipeline", "pipeline/lake/merge.py", "from pipeline.run import nightly"),
    ("Rooms of models", "models/search/chance.py", "from models.find import find_losses"),
    ("Rooms of features", "features/juice/juice.py", "from features.flow import derive"),
    ("What lies inside", "pipeline/pull/pull.py", "from pipeline.lake.merge import conform"),
    ("What lies inside", "pipeline/pull/pull.py", "from pipeline.pull import pull_files as again"),
    ("No circles", "pipeline/lake/merge.py", "from pipeline.lake.lake import Lake"),
    ("features and models are pure", "models/find/rank.py", "import os"),
    ("The simulator", "models/simulator/cells.py", "from models.base import Minutes"),
    ("Only the room of the schedule", "pipeline/run/log.py", "import prefect"),
)


def kept(folder):
    """Whether each contract is kept, by its name."""
    command = [LINTER, "--no-logo", "--no-cache"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    found = re.findall(r"^(.+) (KEPT|BROKEN)", done.stdout, re.MULTILINE)
    assert found, done.stdout + done.stderr
    return {name: state == "KEPT" for name, state in found}


@pytest.fixture(name="copy")
def _copy(tmp_path):
    """All that the linter looks at."""
    for name in ("features", "models", "pipeline", "tests/helpers"):
        skip = shutil.ignore_patterns("__pycache__", "fonts", "templates")
        shutil.copytree(ROOT / name, tmp_path / name, ignore=skip)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_every_contract_holds_and_each_is_broken_by_a_breach(copy):
    assert all(kept(copy).values())
    for contract, file, line in BREACHES:
        path = copy / file
        whole = path.read_text(encoding="utf-8")
        path.write_text(f"{whole}\n{line}\n", encoding="utf-8")
        broken = [name for name, holds in kept(copy).items() if not holds]
        assert any(name.startswith(contract) for name in broken), f"{line} in {file}: {broken}"
        path.write_text(whole, encoding="utf-8")
