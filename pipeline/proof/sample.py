"""Write a simulated season as the files that a mill would hand over."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from datetime import timedelta
from pathlib import Path

import polars as pl

from models.simulator import PlantParameters, Season, simulate_season

#: Stems of the files that hold the truth: a mill has none of them.
HIDDEN = ("planted", "hidden")
#: Seed of the sample kept with the project.
SAMPLE_SEED = 2025


def _write(frame: pl.DataFrame, path: Path) -> None:
    frame.write_parquet(path, compression="zstd", compression_level=12, row_group_size=1 << 20)


def write_sample(folder: Path, season: Season) -> list[Path]:
    """Write tags week by week, lab results and the planted truth as Parquet.

    Of a mill with habits, its station, manners and habits too, as JSON.

    Parameters
    ----------
    folder : Path
        Made when missing; files of the same names are replaced.
    season : Season
        What to write.

    Returns
    -------
    list of Path
        The files, in the order written. The same season gives the same bytes.
    """
    folder.mkdir(parents=True, exist_ok=True)
    first = season.planted["ts_utc"][0]
    last = season.planted["ts_utc"][-1]
    weeks = int((last - first) / timedelta(weeks=1)) + 1
    out: list[Path] = []
    for week in range(weeks):
        begin = first + timedelta(weeks=week)
        inside = pl.col("time").is_between(begin, begin + timedelta(weeks=1), closed="left")
        out.append(folder / f"tags_week{week + 1}.parquet")
        _write(season.tags.filter(inside), out[-1])
    for name, frame in (("lab", season.lab), ("planted", season.truth)):
        out.append(folder / f"{name}.parquet")
        _write(frame, out[-1])
    if season.habits is not None:
        out.append(folder / "hidden.json")
        told = {"plant": asdict(season.parameters), "habits": season.habits.as_dict()}
        out[-1].write_text(json.dumps(told, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    return out


def main(arguments: list[str] | None = None) -> int:
    """Run ``python -m pipeline.proof.sample FOLDER [--seed N] [--weeks N]``."""
    parser = argparse.ArgumentParser(prog="pipeline.proof.sample", description=__doc__)
    parser.add_argument("folder", type=Path, help="where the files go")
    parser.add_argument("--seed", type=int, default=SAMPLE_SEED, help="season to simulate")
    parser.add_argument("--weeks", type=int, default=8, help="length of the season")
    given = parser.parse_args(arguments)
    if given.seed < 0 or given.weeks < 1:
        parser.error("--seed must be 0 or more and --weeks 1 or more")
    season = simulate_season(given.seed, given.weeks, parameters=PlantParameters())
    try:
        files = write_sample(given.folder, season)
    except OSError as error:
        sys.stderr.write(
            f"Could not write the sample into {given.folder}: {error.strerror}. "
            "Choose a folder you may write to, and run again.\n"
        )
        return 3
    size_mb = sum(path.stat().st_size for path in files) / 1e6
    sys.stdout.write(f"Wrote {len(files)} files ({size_mb:.1f} MB) to {given.folder}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
