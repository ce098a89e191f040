"""False discoveries are judged over the season, whichever run published them."""

from datetime import UTC, datetime, timedelta

from pipeline.store.season import season_cells, settled

START = datetime(2025, 10, 1, tzinfo=UTC)
DAY = timedelta(days=1)


def found(name, p, status="ended"):
    return {"finding_id": name, "p_value": p, "status": status, "evidence": "{}", "verdict": None}


def test_q_values_do_not_depend_on_the_run_that_published_a_finding():
    all_at_once = settled([found("a", 1e-6), found("b", 3e-5)], [], 5_000)
    before = settled([found("a", 1e-6)], [], 1_000)
    later = settled([*before, found("b", 3e-5)], [], 5_000)
    assert later == all_at_once
    assert before[0]["q_value"] < later[0]["q_value"]


def test_withdrawn_and_older_findings_do_not_count():
    rows = settled([found("a", 1e-6), found("b", 1e-7, "withdrawn"), found("c", None)], [], 500)
    alone = settled([found("a", 1e-6)], [], 500)
    assert rows[0] == alone[0]
    assert "mark" not in rows[1]
    assert "mark" not in rows[2]


def test_a_season_has_as_many_hypotheses_as_its_length_in_windows():
    window = (START + 100 * DAY, START + 128 * DAY)
    assert season_cells(1_232, window, START) == 1_232 * 128 // 28
    assert season_cells(1_232, window, window[1]) == 1_232
