"""Sample files: names, shape, same bytes again."""

from __future__ import annotations

import hashlib

import polars as pl
import pytest

from models.simulator import PlantParameters, simulate_season
from pipeline.proof.sample import main, write_sample


@pytest.fixture(scope="module")
def season():
    return simulate_season(3, 1, parameters=PlantParameters(steady=True), with_events=False)


def digests(files):
    return {file.name: hashlib.sha256(file.read_bytes()).hexdigest() for file in files}


def test_files_have_their_names_and_columns(season, tmp_path):
    files = write_sample(tmp_path / "new", season)
    assert [f.name for f in files] == ["tags_week1.parquet", "lab.parquet", "planted.parquet"]
    tags, lab, planted = (pl.read_parquet(f) for f in files)
    assert tags.equals(season.tags)
    assert lab.columns == ["sampled", "point_analyte", "result"]
    assert planted.columns[:3] == ["event", "kind", "cause"]


def test_same_season_same_bytes(season, tmp_path):
    first = digests(write_sample(tmp_path / "a", season))
    assert digests(write_sample(tmp_path / "b", season)) == first


def test_a_folder_that_cannot_be_made_is_said_plainly(season, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("pipeline.proof.sample.simulate_season", lambda *_args, **_kw: season)
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    assert main([str(blocked), "--weeks", "1"]) == 3
    assert "Choose a folder" in capsys.readouterr().err


def test_wrong_arguments_are_refused(tmp_path, capsys):
    with pytest.raises(SystemExit) as stop:
        main([str(tmp_path), "--weeks", "0"])
    assert stop.value.code == 2
    assert "--weeks 1 or more" in capsys.readouterr().err
