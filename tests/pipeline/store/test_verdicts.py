"""Verdicts: kept for good, taken back without a trace, told to everybody as plain text."""

import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from keeping import keep_found

from pipeline.base.errors import ConfigError, DataError
from pipeline.cli import app
from pipeline.mill.description import load_mill
from pipeline.run import order
from pipeline.stages import stages
from pipeline.store.folders import store_of
from pipeline.store.learning import belonging
from pipeline.store.naming import chosen
from pipeline.store.verdicts import give_verdict, verdict_lines, verdict_summary
from pipeline.tongue import tongue_of
from pipeline.words import CAUSES

ROOT = Path(__file__).resolve().parents[3]
BRINDLEWATER = load_mill(ROOT / "configs" / "demo_mill.toml")
START = datetime(2025, 10, 6, 5, tzinfo=UTC)
WINDOW = (START, START + timedelta(days=28))
HOSTILE = [
    "<script>alert(1)</script>",
    '=HYPERLINK("http://x.example","go")',
    "\u202eevah yam siht",
    "a\x00b",
    "one\r\nBcc: everybody@mill.example",
    "x" * 5000,
    "'); DROP TABLE verdicts; --",
    "\udcff",
]


def episode(start_h, hours=8.0, cause="overheating", lost_t=1.0, confidence=0.8):
    started = START + timedelta(hours=start_h)
    evidence = {"alternatives": [], "facts": [{"text": "hot", "unit": "degC", "value": 101.0}]}
    return {
        "section": "settler",
        "cause": cause,
        "started": started,
        "ended": started + timedelta(hours=hours),
        "lost_t": lost_t,
        "lost_t_low": lost_t / 2,
        "lost_t_high": lost_t * 2,
        "lost_pct": None,
        "value": 520 * lost_t,
        "currency": "USD",
        "confidence": confidence,
        "rank": None,
        "status": "ended",
        "evidence": json.dumps(evidence, sort_keys=True),
    }


def publish(mill, rows):
    return keep_found(store_of(mill), rows, window=WINDOW, as_of=WINDOW[1], run_id="run1")


@pytest.fixture
def mill(tmp_path):
    made = replace(BRINDLEWATER, store_path=tmp_path / "store")
    publish(made, [episode(0, lost_t=3.0), episode(50, lost_t=2.0), episode(90, lost_t=1.0)])
    return made


def at(mill, rank):
    """Id of the finding that stands at a rank now."""
    return store_of(mill).findings()["finding_id"][rank - 1]


def ranks(mill):
    return store_of(mill).findings()["lost_t"].to_list()


def test_a_dismissed_finding_sinks_and_stays(mill):
    now = give_verdict(mill, at(mill, 1), "dismissed", "a thermometer out for repair", "Ana")
    assert (now["verdict"], now["rank"], now["lost_t"]) == ("dismissed", 3, 3.0)
    assert ranks(mill) == [2.0, 1.0, 3.0]
    assert "dismissed by Ana" in now["evidence"]


def test_a_verdict_is_kept_when_only_the_published_copy_is_left(mill):
    name, store = at(mill, 1), store_of(mill)
    store.path.unlink()
    assert give_verdict(mill, name, "dismissed")["verdict"] == "dismissed"
    assert store.path.exists()
    assert ranks(mill) == [2.0, 1.0, 3.0]


def test_what_is_fixed_comes_after_what_is_not(mill):
    give_verdict(mill, at(mill, 1), "fixed")
    give_verdict(mill, at(mill, 1), "dismissed")
    assert store_of(mill).findings()["verdict"].to_list() == [None, "fixed", "dismissed"]


def test_taken_back_leaves_the_same_table_and_its_history(mill):
    before = store_of(mill).findings()
    give_verdict(mill, at(mill, 1), "dismissed", "wrong", "Ana")
    assert not store_of(mill).findings().equals(before)
    give_verdict(mill, before["finding_id"][0], None, "right after all", "Ben")
    assert store_of(mill).findings().equals(before)
    given = store_of(mill).verdicts()
    assert given["verdict"].to_list() == ["dismissed", "taken_back"]
    assert given["author"].to_list() == ["Ana", "Ben"]
    with pytest.raises(ConfigError, match="no verdict"):
        give_verdict(mill, before["finding_id"][0], None)


def test_the_last_verdict_counts(mill):
    name = store_of(mill).findings()["finding_id"][0]
    for verdict in ("dismissed", "confirmed"):
        give_verdict(mill, name, verdict)
    assert store_of(mill).findings().filter(finding_id=name)["verdict"].to_list() == ["confirmed"]


def test_verdicts_teach_the_kind_but_not_other_kinds(mill):
    publish(mill, [episode(0), episode(50), episode(90, cause="mud_held")])
    give_verdict(mill, chosen_by(mill, 0), "dismissed")
    after = {row["started"]: row["confidence"] for row in store_of(mill).findings().to_dicts()}
    assert after[START + timedelta(hours=50)] == pytest.approx(0.64)
    assert after[START + timedelta(hours=90)] == 0.8


def chosen_by(mill, start_h):
    found = store_of(mill).findings().filter(started=START + timedelta(hours=start_h))
    return found["finding_id"][0]


def test_a_run_between_changes_nothing(mill):
    name = chosen_by(mill, 0)
    give_verdict(mill, name, "dismissed", "see note", "Ana")
    before = (store_of(mill).findings(), store_of(mill).verdicts())
    rows = [episode(0, lost_t=3.0), episode(50, lost_t=2.0), episode(90, lost_t=1.0)]
    publish(mill, rows)
    assert store_of(mill).findings().equals(before[0])
    assert store_of(mill).verdicts().equals(before[1])


def test_a_finding_that_moves_keeps_its_verdict(mill):
    name = chosen_by(mill, 0)
    give_verdict(mill, name, "confirmed")
    publish(mill, [episode(2, cause="mud_held"), episode(50), episode(90)])
    moved = store_of(mill).findings().filter(verdict="confirmed").row(0, named=True)
    assert moved["finding_id"] == name
    assert moved["cause"] == "mud_held"


def test_a_verdict_finds_its_finding_again_by_time():
    old = {"verdict_id": 1, "verdict": "fixed", "finding_id": "gone"}
    verdict = episode(0) | old
    names = [{"finding_id": "other"}, {"finding_id": "new"}]
    found = [episode(30) | names[0], episode(3) | names[1]]
    assert belonging(found, [verdict]) == {"new": verdict}
    assert belonging(found[:1], [verdict]) == {}


def test_a_dismissed_loss_that_grows_comes_back(mill):
    give_verdict(mill, chosen_by(mill, 90), "dismissed")
    publish(mill, [episode(0, lost_t=3.0), episode(50, lost_t=2.0), episode(90, 60, lost_t=9.0)])
    first = store_of(mill).findings().row(0, named=True)
    assert (first["verdict"], first["lost_t"]) == ("look_again", 9.0)


@pytest.mark.slow
def test_a_backfill_twice_leaves_verdicts_alone(tmp_path):
    mill = replace(BRINDLEWATER, store_path=tmp_path / "store")
    week = pl.read_parquet(ROOT / "sample_parquet" / "tags_week1.parquet")
    week.filter(pl.col("time") < START + timedelta(hours=12)).write_parquet(tmp_path / "a.parquet")
    stages.pull(mill, [tmp_path / "a.parquet"])
    publish(mill, [episode(2, 4.0)])
    give_verdict(mill, at(mill, 1), "confirmed", "steam valve", "Ana")
    before = store_of(mill).verdicts()
    after = []
    for _ in range(2):
        order.backfill(mill)
        assert store_of(mill).verdicts().equals(before)
        after.append(store_of(mill).findings(withdrawn=True))
    assert after[0].equals(after[1])
    assert "confirmed" in after[0]["verdict"].to_list()


def test_hostile_notes_and_names_stay_text(mill):
    for text in HOSTILE:
        give_verdict(mill, at(mill, 1), "confirmed", text, text[:200])
    kept = store_of(mill).verdicts()["note"]
    assert kept.str.len_chars().to_list() == [len(text) for text in HOSTILE]
    lines = verdict_lines(mill)
    assert all(line.isprintable() for line in lines)
    assert max(map(len, lines)) < 600
    json.loads(store_of(mill).findings()["evidence"][0])


def test_a_note_without_end_is_refused(mill):
    with pytest.raises(ConfigError, match="10001 characters"):
        give_verdict(mill, at(mill, 1), "confirmed", "x" * 10_001)
    assert store_of(mill).verdicts().is_empty()


FINDINGS = pl.DataFrame(
    {
        "finding_id": ["abcd000001", "abcd000002", "beef000003", "2468ab0004"],
        "rank": [1, 2, 3, 4],
    }
)


@pytest.mark.parametrize(
    ("word", "name"),
    [("abcd000002", "abcd000002"), (" BEEF", "beef000003"), ("2468", "2468ab0004")],
)
def test_a_finding_is_meant_by_id_or_beginning(word, name):
    assert chosen(FINDINGS, word)["finding_id"] == name


def test_a_number_of_a_list_is_not_taken_but_told_what_stands_there(mill):
    read = store_of(mill).findings().row(0, named=True)  # what a page printed as number 1
    give_verdict(mill, read["finding_id"], "dismissed")
    now = store_of(mill).findings().row(0, named=True)
    assert now["finding_id"] != read["finding_id"]
    for word in ("1", "#1", " 1. "):
        with pytest.raises(ConfigError, match="named by its id") as caught:
            give_verdict(mill, word, "confirmed")
        assert f"there stands now {now['finding_id']}, Juice hotter" in caught.value.where
        assert "settler" in caught.value.where
        assert "Wed 8 Oct" in caught.value.where
        assert now["finding_id"] in caught.value.next_step
    with pytest.raises(ConfigError) as caught:
        give_verdict(mill, "9", "confirmed")
    assert "no finding stands there" in caught.value.where
    assert store_of(mill).verdicts().height == 1


@pytest.mark.parametrize(
    ("word", "says"),
    [
        ("2", "named by its id"),
        ("9", "named by its id"),
        ("abcd", "Several"),
        ("be", "too little"),
        ("0123456789", "no such"),
    ],
)
def test_who_is_not_meant_is_told(word, says):
    with pytest.raises(ConfigError, match=says):
        chosen(FINDINGS, word)


def test_no_findings_yet(tmp_path):
    with pytest.raises(DataError, match="no findings yet"):
        verdict_lines(replace(BRINDLEWATER, store_path=tmp_path))


@pytest.fixture
def described(tmp_path):
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    lines = ['store = "store"' if x.startswith("store =") else x for x in text.splitlines()]
    path = tmp_path / "mill.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    publish(load_mill(path), [episode(0)])
    return str(path)


def test_the_commands(described, capsys):
    name = at(load_mill(Path(described)), 1)
    assert app.run(["verdict", described, name, "dismissed", "--note", "=1+1", "--by", "Ana"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "dismissed by Ana" in said
    # Cause, place and time of what was marked, in the time of the mill: 05:00 UTC is midnight.
    assert f"{name}: dismissed, now number 1 of the list. Juice hotter than its target," in said
    assert "settler, Mon 6 Oct 2025 00:00 to 08:00 (America/Chicago), 1.0 t (0.5 to 2.0)" in said
    assert app.run(["findings", described]) == 0
    assert "dismissed" in capsys.readouterr().out
    assert app.run(["verdicts", described]) == 0
    said = capsys.readouterr().out
    assert "1 verdict, 1 of them counts" in said
    assert "America/Chicago" in said
    assert app.run(["verdict", described, name[:4], "--withdraw"]) == 0
    assert f"{name}: no verdict, now number 1" in capsys.readouterr().out
    for command in (["verdict", described, "1", "confirmed"], ["explain", described, "1"]):
        assert app.run(command) == 2
        assert name in capsys.readouterr().err


@pytest.mark.parametrize(
    "typed",
    [
        "ID",
        "ID fixed --withdraw",
        "ID perhaps",
        "ID --withdraw",
        "ID dismissed --cause mud_held",
        "ID confirmed --cause moon",
    ],
)
def test_what_makes_no_sense_is_refused(described, typed, capsys):
    typed = typed.replace("ID", at(load_mill(Path(described)), 1))
    assert app.run(["verdict", described, *typed.split()]) == 2
    assert store_of(load_mill(Path(described))).verdicts().is_empty()


def test_lists_of_verdicts_name_places_and_tonnes_as_findings_do(mill):
    give_verdict(mill, at(mill, 1), "confirmed", author="Ana", found_cause="low_limed_ph")
    told = "\n".join(verdict_lines(mill))
    assert "1 verdict, 1 of them counts." in told
    assert "t (" in told  # with its interval
    assert "_" not in told
    spanish = "\n".join(str(tongue_of("es")(line)) for line in verdict_lines(mill))
    assert "1 veredicto, 1 de ellos cuenta." in spanish
    assert "confirmado" in spanish
    assert " verdict" not in spanish


def test_what_a_verdict_changed_names_no_cause_by_its_key(mill):
    marked = give_verdict(mill, at(mill, 1), "confirmed", "as_typed", "Ana", "low_limed_ph")
    told = verdict_summary(mill, marked)
    keys = [key for line in told for key in CAUSES if re.search(rf"\b{key}\b", line)]
    assert any("the search had named it “" in line for line in told)
    assert keys == []
    assert any(line.endswith(": as_typed") for line in told)  # a note stays as it was typed
    french = [str(tongue_of("fr")(line)) for line in told]
    assert any("confirmé par Ana le " in line for line in french)
