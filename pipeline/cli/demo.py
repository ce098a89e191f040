"""The demonstration: eight weeks of an invented mill, from exports to ranked losses."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Final

from pipeline.base import ConfigError, DataError, Progress, silent
from pipeline.mill import Mill, load_mill
from pipeline.present import write_night_report, write_week_report
from pipeline.run import Outcome, backfill, night_of, week_of
from pipeline.stages import pull

FOLDER: Final = "lostpol_demo"
_CHECKOUT: Final = Path(__file__).resolve().parents[2]
_DESCRIPTION: Final = "demo_mill.toml"
#: The truth is for judging the search afterwards; the demonstration never reads it.
_EXPORTS: Final = ("tags_week*.parquet", "lab.parquet")


def prepare(parent: Path, checkout: Path = _CHECKOUT) -> tuple[Mill, list[Path]]:
    """Make a fresh demonstration folder below `parent`.

    Returns
    -------
    mill, files
        The mill, with its store inside the folder, and the export files to pull.

    Raises
    ------
    ConfigError
        A folder of that name exists and was not made by the demonstration.
    DataError
        The sample exports are not there.
    """
    template = checkout / "configs" / _DESCRIPTION
    files = sorted(p for name in _EXPORTS for p in (checkout / "sample_parquet").glob(name))
    if not files or not template.is_file():
        raise DataError(
            "The sample exports of the demonstration are not there.",
            f"{checkout / 'sample_parquet'} and {template}",
            "Run lostpol demo from a checkout of the project, installed with pip install -e .",
        )
    folder = parent / FOLDER
    if folder.exists():
        _remove(folder)
    (folder / "inbox").mkdir(parents=True)
    description = folder / _DESCRIPTION
    text = template.read_text(encoding="utf-8")
    text = re.sub(r'(?m)^store = ".*"$', 'store = "."', text)
    text = re.sub(r'(?m)^inbox = ".*"$', 'inbox = "inbox"', text)
    # The people of an invented mill have no mail boxes.
    text = re.sub(r"(?ms)^\[mail\]\n.*?^(?=\[)", "", text)
    description.write_text(text, encoding="utf-8")
    return load_mill(description), files


def _remove(folder: Path) -> None:
    """Remove an earlier demonstration, and only that."""
    if folder.is_symlink() or not (folder / _DESCRIPTION).is_file():
        raise ConfigError(
            "A folder with the name of the demonstration exists and holds something else.",
            str(folder),
            "Move it away, or run lostpol demo in another folder.",
        )
    shutil.rmtree(folder)


def run(
    parent: Path, progress: Progress = silent, checkout: Path = _CHECKOUT
) -> tuple[Mill, Outcome]:
    """Pull the sample exports, search all of them and write reports of season, week, night."""
    mill, files = prepare(parent, checkout)
    pull(mill, files, progress)
    outcome = backfill(mill, progress=progress)
    progress("Writing the last night and week", 0, 1)
    write_night_report(mill, night_of(mill, outcome.judged.window))
    write_week_report(mill, week_of(mill, outcome.judged.window))
    progress("Writing the last night and week", 1, 1)
    return mill, outcome
