"""The null card line by line, one after the other and side by side, and what the command says."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool

import pytest

from models.judge import NOISES, Searched
from pipeline.base import cores
from pipeline.base.errors import DataError
from pipeline.cli import app
from pipeline.proof import NullPlan, null_lines
from pipeline.proof import null_card as module


def made_up(name, seed, weeks, rates):
    """As many stretches as the last digit of the seed says; the walk promises nothing."""
    count = seed % 10
    return [Searched(count, 0, 0, weeks * 10_080, name != "walk_1") for _ in rates]


def threads(jobs, *_, **__):
    return ThreadPoolExecutor(jobs)


@pytest.fixture
def quick(monkeypatch):
    monkeypatch.setattr(module, "search_noise", made_up)
    monkeypatch.setattr(cores, "ProcessPoolExecutor", threads)


@pytest.mark.parametrize("jobs", [1, 3])
def test_lines_come_in_order_whoever_is_done_first(quick, jobs):
    told = []
    plan = NullPlan(("mill", "ou_6h"), (0.2, 0.5), weeks=4, jobs=jobs, seeds=(3, 1, 2))
    lines = list(null_lines(plan, lambda *step: told.append(step[1:])))
    assert [(one.name, one.asked) for one in lines] == [
        ("mill", 0.2),
        ("mill", 0.5),
        ("ou_6h", 0.2),
        ("ou_6h", 0.5),
    ]
    assert [one.count for one in lines[0].series] == [3, 1, 2]
    assert lines[0].rate.weeks == 12.0
    assert told[-1] == (6, 6)


def test_the_seeds_of_the_proof_are_not_those_of_the_bench():
    assert NullPlan(replicates=3).drawn == (8001, 8002, 8003)
    assert NullPlan(replicates=3, seeds=(7,)).drawn == (7,)
    assert NullPlan().noises == tuple(NOISES)


def test_really_drawn_noise_is_the_same_side_by_side():
    plan = NullPlan(("ou_6h",), (0.5,), weeks=2, seeds=(7001, 7000))
    assert list(null_lines(plan)) == list(null_lines(plan))
    counted = [one.minutes for one in next(null_lines(plan)).series]
    assert counted == [2 * 10_080] * 2


def test_a_worker_that_is_stopped_is_told(quick, monkeypatch):
    def stopped(*task):
        raise BrokenProcessPool

    monkeypatch.setattr(module, "search_noise", stopped)
    with pytest.raises(DataError, match="fewer --jobs"):
        list(null_lines(NullPlan(("mill",), jobs=2, seeds=(1, 2))))


def test_the_command_says_all_and_writes_all(quick, tmp_path, capsys):
    file = tmp_path / "card.json"
    words = ["scorecard", "--null-card", "--seeds", "1", "2", "--weeks", "10", "--json", str(file)]
    assert app.run(words) == 0
    said = capsys.readouterr().out
    for noise in NOISES.values():
        assert said.count(noise.words[:41]) >= 3
    assert "2 of 2" in said
    assert f"0 of {3 * len(NOISES)} lines keep" not in said
    assert "3 say that they cannot be calibrated" in said
    written = json.loads(file.read_text(encoding="utf-8"))
    assert (written["weeks"], written["seeds"]) == (10, [1, 2])
    assert len(written["lines"]) == 3 * len(NOISES)
    first = written["lines"][0]
    # By hand: three in twenty weeks, one asked.
    assert (first["asked_per_week"], first["count"]) == (0.05, 3)
    assert first["got_over_asked"] == pytest.approx(3.0)
    assert first["kept"] == "too many ?"


def test_weeks_and_series_when_nothing_is_said(quick, capsys):
    assert app.run(["scorecard", "--null-card", "--replicates", "2"]) == 0
    assert "for 2 series a noise of 8 weeks" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (["--null-card", "--hard-mill"], "no mills"),
        (["--null-card", "--nightly", "--usual-mill"], "--usual-mill and --nightly"),
        (["--replicates", "5"], "no noise is asked for"),
        (["--null-card", "--replicates", "0"], "replicates"),
        (["--null-card", "--seeds", "-1"], "below 0"),
        (["--null-card", "--json", "no/such/card.json"], "does not exist"),
    ],
)
def test_the_command_refuses_what_makes_no_sense(quick, capsys, words, fault):
    assert app.run(["scorecard", *words]) == 2
    assert fault in capsys.readouterr().err
