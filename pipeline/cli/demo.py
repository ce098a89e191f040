"""The demonstration: eight weeks of an invented mill, from exports to ranked losses."""

from __future__ import annotations

import re
from itertools import count
from pathlib import Path
from typing import Final

from pipeline.base import (
    ConfigError,
    DataError,
    Progress,
    keep_private,
    private_folder,
    silent,
)
from pipeline.cli.spoken import load_mill
from pipeline.mill import Mill
from pipeline.present import write_night_report, write_week_report
from pipeline.run import Outcome, backfill, night_of, week_of
from pipeline.stages import pull
from pipeline.words import said

FOLDER: Final = "lostpol_demo"
_CHECKOUT: Final = Path(__file__).resolve().parents[2]
_DESCRIPTION: Final = "demo_mill.toml"
#: The truth is for judging the search afterwards; the demonstration never reads it.
_EXPORTS: Final = ("tags_week*.parquet", "lab.parquet")


def prepare(
    parent: Path, checkout: Path = _CHECKOUT, out: Path | None = None
) -> tuple[Mill, list[Path]]:
    """Make a fresh demonstration folder below `parent`, or at `out`.

    Nothing that is there is touched: it may hold verdicts.

    Returns
    -------
    mill, files
        The mill, with its store inside the folder, and the export files to pull.

    Raises
    ------
    ConfigError
        `out` holds something already, or no folder can be made there.
    DataError
        The sample exports are not there.
    """
    template = checkout / "configs" / _DESCRIPTION
    files = sorted(p for name in _EXPORTS for p in (checkout / "sample_parquet").glob(name))
    if not files or not template.is_file():
        raise DataError(
            said("The sample exports of the demonstration are not there."),
            said(
                "{checkout} and {template}", checkout=checkout / "sample_parquet", template=template
            ),
            said(
                "Run lostpol demo from a checkout of the project, installed with pip install -e ."
            ),
        )
    folder = _new_folder(parent) if out is None else _empty_folder(out)
    text = template.read_text(encoding="utf-8")
    text = re.sub(r'(?m)^store = ".*"$', 'store = "."', text)
    text = re.sub(r'(?m)^inbox = ".*"$', 'inbox = "inbox"', text)
    # The people of an invented mill have no mail boxes.
    text = re.sub(r"(?ms)^\[mail\]\n.*?^(?=\[)", "", text)
    description = folder / _DESCRIPTION
    try:
        private_folder(folder / "inbox")
        description.write_text(text, encoding="utf-8")
    except OSError as error:
        raise _cannot_make(folder, error) from error
    return load_mill(description), files


def _new_folder(parent: Path) -> Path:
    """Make lostpol_demo, or the first of lostpol_demo_2, lostpol_demo_3 that is not there yet."""
    for number in count(1):
        folder = parent / (FOLDER if number == 1 else f"{FOLDER}_{number}")
        try:
            keep_private()
            folder.mkdir(parents=True)
        except FileExistsError:
            continue
        except OSError as error:
            raise _cannot_make(folder, error) from error
        return folder
    raise AssertionError  # numbers do not end


def _empty_folder(folder: Path) -> Path:
    """Make the folder that was asked for; one that is there must be empty."""
    try:
        private_folder(folder)
        taken = next(folder.iterdir(), None)
    except OSError as error:
        raise _cannot_make(folder, error) from error
    if taken is not None:
        raise ConfigError(
            said("The folder for the demonstration holds something already."),
            f"{folder}: {taken.name}",
            said("Name a folder that is empty or not there yet; nothing was changed."),
        )
    return folder


def _cannot_make(folder: Path, error: OSError) -> ConfigError:
    return ConfigError(
        said(
            "The folder for the demonstration cannot be made: {why}.",
            why=str(error.strerror or error),
        ),
        str(folder),
        said("Name another with lostpol demo --out FOLDER."),
    )


def run(
    parent: Path,
    progress: Progress = silent,
    checkout: Path = _CHECKOUT,
    out: Path | None = None,
) -> tuple[Mill, Outcome]:
    """Pull the sample exports, search all of them and write reports of season, week, night."""
    mill, files = prepare(parent, checkout, out)
    pull(mill, files, progress)
    outcome = backfill(mill, progress=progress)
    progress("Writing the last night and week", 0, 1)
    write_night_report(mill, night_of(mill, outcome.judged.window))
    write_week_report(mill, week_of(mill, outcome.judged.window))
    progress("Writing the last night and week", 1, 1)
    return mill, outcome
