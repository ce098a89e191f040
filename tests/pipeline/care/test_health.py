"""What is wrong with a store and what is around it, each with its cure."""

import json
import os
import re
import socket
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from keeping import merge_day
from tongue_checker import english_told

from pipeline.base.errors import DataError
from pipeline.base.lock import only_run
from pipeline.base.window import now
from pipeline.care import around, nights
from pipeline.care.health import examine, sign_lines
from pipeline.care.signs import Sign
from pipeline.cli.app import run
from pipeline.lake.coverage import lake_of
from pipeline.lake.merge import READINGS_SCHEMA
from pipeline.mail.mail import outbox_of
from pipeline.mill.description import load_mill
from pipeline.pull.known import Pulled, keep_note
from pipeline.pull.ledger import SourceLedger
from pipeline.run.attempts import attempt
from pipeline.store.folders import store_of
from pipeline.store.published import published_path
from pipeline.tongue import tongue_of

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def port():
    """Something that answers where the mail server should be."""
    # The system itself answers callers as long as they have room to wait.
    with socket.create_server(("127.0.0.1", 0), backlog=200) as server:
        yield server.getsockname()[1]


@pytest.fixture
def mill(tmp_path, port):
    """A mill that is well: it ran just now, and all is there."""
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    text = re.sub(r'(?m)^store = ".*"$', 'store = "store"', text)
    text = re.sub(r'(?m)^inbox = ".*"$', 'inbox = "inbox"', text)
    start, end = text.index("[mail]"), text.index("[exports]")
    mail = (
        f'[mail]\nhost = "127.0.0.1"\nport = {port}\nstart_tls = false\n'
        'sender = "l@x.example"\nrecipients = ["a@x.example"]\n\n'
    )
    (tmp_path / "inbox").mkdir()
    (tmp_path / "mill.toml").write_text(text[:start] + mail + text[end:], encoding="utf-8")
    made = load_mill(tmp_path / "mill.toml")
    with attempt(made, "nightly", lambda _name, stage: stage()) as step:
        step("report", lambda: None)
    readings_at(made, now() - timedelta(hours=2))
    return made


def readings_at(mill, moment):
    row = {"ts_utc": moment, "tag": "T", "value": 1.0, "bad": False, "reason": None}
    merge_day(lake_of(mill), moment.date(), pl.DataFrame([row], schema=READINGS_SCHEMA))


def examined(mill):
    """Signs of a mill, each of which every reader understands."""
    signs = examine(mill)
    # What runs kept of their errors, and what a system says, stay as they were said.
    kept = [str(mill.config_path.parent), "DataError: Bad day. (lake)"]
    for language in ("es", "pt", "fr"):
        tongue = tongue_of(language)
        told = "\n".join(str(tongue(line)) for line in sign_lines(signs))
        assert english_told(re.sub(r"IO Error: [^)]*", "", told), language, kept) == []
    return signs


def states(mill):
    return {sign.about: sign for sign in examined(mill)}


def wrong(mill):
    return {sign.about: sign for sign in examined(mill) if sign.state == "wrong"}


def test_a_well_store_is_well(mill):
    assert wrong(mill) == {}
    assert {"Disk", "Clock", "Mail", "Runs", "Lock", "Published copy"} <= states(mill).keys()
    assert run(["health", str(mill.config_path)]) == 0


@pytest.mark.parametrize(
    ("language", "line"),
    [
        ("es", "bien   Bloqueo: ninguna corrida trabaja en la carpeta de datos"),
        ("pt", "bem    Bloqueio: nenhuma execução trabalha na pasta de dados"),
        ("fr", "bien   Verrou\u00a0: aucun passage ne travaille sur le dossier de données"),
    ],
)
def test_health_speaks_the_tongue_that_is_asked_for(mill, capsys, language, line):
    assert run(["health", str(mill.config_path), "--language", language]) == 0
    assert line in capsys.readouterr().out.splitlines()


def test_every_sign_that_is_not_fine_has_a_cure(mill):
    (mill.config_path.parent / "inbox").rmdir()
    signs = examined(mill)
    assert all(bool(sign.cure) == (sign.state != "fine") for sign in signs)
    lines = sign_lines(signs)
    assert lines[0].startswith("WRONG  Inbox")
    assert lines[1].strip().startswith("-> Make the folder")


def test_readings_from_the_future_are_wrong(mill):
    readings_at(mill, now() + timedelta(hours=5))
    assert "in the future" in wrong(mill)["Readings"].what


def test_a_clock_set_back_is_wrong(mill, monkeypatch):
    monkeypatch.setattr(around, "now", lambda: now() - timedelta(hours=3))
    assert "NTP" in wrong(mill)["Clock"].cure


def test_a_published_copy_that_is_behind_or_absent_is_wrong(mill):
    copy = published_path(mill.database_path)
    old = copy.read_bytes()
    window = (datetime(2025, 10, 6, tzinfo=UTC), datetime(2025, 10, 7, tzinfo=UTC))
    store_of(mill).record_run(
        {"run_id": "r", "flow": "nightly", "window_start": window[0], "window_end": window[1]}
        | {"as_of": window[1], "config_hash": "other", "inputs_hash": "i", "versions": {}}
        | {"started_at": window[1], "finished_at": window[1], "state": "finished"}
    )
    copy.chmod(0o644)
    copy.write_bytes(old)
    assert "behind the database in runs" in wrong(mill)["Published copy"].what
    assert states(mill)["Description"].state == "look"
    copy.unlink()
    assert "none" in wrong(mill)["Published copy"].what


def test_little_room_is_wrong(mill, monkeypatch):
    monkeypatch.setattr(around, "free_bytes", lambda _: 5 << 20)
    assert "lostpol tidy" in wrong(mill)["Disk"].cure


def test_a_failed_run_and_a_missed_one_are_wrong(mill, monkeypatch):
    fault = DataError("Bad day.", "lake", "Mend it.")

    def fail():
        raise fault

    with pytest.raises(DataError), attempt(mill, "backfill", lambda _n, s: s(), notice=False) as s:
        s("derive", fail)
    assert "Bad day." in wrong(mill)["Runs"].what

    with attempt(mill, "nightly", lambda _name, stage: stage()) as step:
        step("report", lambda: None)
    monkeypatch.setattr(nights, "now", lambda: now() + timedelta(days=3))
    assert "one is due every night" in wrong(mill)["Runs"].what


def test_a_run_at_work_waiting_days_and_a_stopped_pull_are_told(mill):
    store_of(mill).record_pull([], [datetime(2025, 10, 6, tzinfo=UTC).date()])
    incoming = mill.lake_path / "incoming"
    incoming.mkdir()
    (incoming / "plan.json").write_text('{"days_changed": [], "notes": {}}')
    with only_run(mill):
        seen = states(mill)
    assert "works on the store now" in seen["Lock"].what
    assert "1 day waits" in seen["Days that wait"].what
    assert seen["Stopped pull"].state == "look"


def test_mail_that_cannot_go_is_told(mill, tmp_path, monkeypatch):
    outbox_of(mill).put("ab" * 16, b"x", ["a@x.example"], "s", now())
    assert "1 waiting" in states(mill)["Outbox"].what
    text = mill.config_path.read_text(encoding="utf-8")
    text = re.sub(r"(?m)^port = \d+$", 'port = 1\nuser = "lostpol"', text)
    mill.config_path.write_text(text, encoding="utf-8")
    monkeypatch.delenv("LOSTPOL_MAIL_PASSWORD", raising=False)
    signs = [s for s in examined(load_mill(mill.config_path)) if s.about == "Mail"]
    assert [s.state for s in signs] == ["wrong", "wrong"]
    assert "LOSTPOL_MAIL_PASSWORD" in signs[0].cure
    assert "does not answer" in signs[1].what


def test_a_time_that_summer_time_skips_is_told(mill):
    text = mill.config_path.read_text(encoding="utf-8")
    text = re.sub(r'(?m)^nightly = ".*"$', 'nightly = "02:30"', text)
    mill.config_path.write_text(text, encoding="utf-8")
    assert "clocks change" in states(load_mill(mill.config_path))["Schedule"].what


def test_a_damaged_database_is_wrong_and_ends_with_seven(mill, capsys):
    mill.database_path.write_bytes(b"no database, but long enough to be taken for one" * 100)
    assert run(["health", str(mill.config_path), "--json"]) == 7
    told = json.loads(capsys.readouterr().out)
    assert told["well"] is False
    assert {"Database"} <= {s["about"] for s in told["signs"] if s["state"] == "wrong"}


@pytest.mark.parametrize("size", [0, 4096, 2_000_000])
def test_a_database_cut_or_filled_up_is_told_and_never_a_traceback(mill, capsys, size):
    with mill.database_path.open("rb+") as file:
        file.truncate(0)
        file.truncate(size)
    assert run(["health", str(mill.config_path)]) == 7
    told = capsys.readouterr().out
    assert "fault of its own" not in told
    assert "findings_published.duckdb" in told


def test_a_store_whose_database_is_gone_goes_on_from_its_copy(mill):
    store = store_of(mill)
    stages = store.stages()
    store.path.unlink()
    sign = wrong(mill)["Database"]
    assert "is gone" in sign.what
    assert "verdicts included" in sign.cure
    store.settle_stopped()  # as every run does first
    assert store.stages().equals(stages)
    assert wrong(mill) == {}


def test_a_spoilt_copy_is_not_promised_to_bring_a_store_back(mill):
    mill.database_path.unlink()
    copy = published_path(mill.database_path)
    copy.chmod(0o600)
    copy.write_bytes(b"no database")
    sign = wrong(mill)["Database"]
    assert "published copy of the findings cannot be read" in sign.what
    assert "goes on from the copy" not in sign.cure
    assert "lostpol backfill" in sign.cure


def test_days_that_went_missing_or_were_cut_are_named(mill):
    lake = lake_of(mill)
    last = lake.days()[-1]
    for n in (1, 2):
        readings_at(mill, now() - timedelta(days=n, hours=2))
    days = lake.days()
    ledger = SourceLedger("a.csv", "0" * 64, 1, "", 1, 1, 0, 0, {}, {}, (), None, None, ())
    keep_note(lake.storage, Pulled(ledger, "", {}, tuple(map(str, days))))
    assert states(mill)["Stored days"].state == "fine"
    path = Path(lake.storage.where(lake.readings_name(days[1])))
    path.unlink()
    assert f"{days[1]} are gone" in wrong(mill)["Stored days"].what
    path = Path(lake.storage.where(lake.readings_name(last)))
    path.write_bytes(path.read_bytes()[:-20])
    told = [sign.what for sign in examined(mill) if sign.about == "Stored days"]
    assert f"readings of {last}: its bytes are not those that were written" in told


def test_silence_of_the_plant_is_wrong_until_it_is_off_season(mill):
    lake = lake_of(mill)
    lake.storage.delete(lake.readings_name(lake.days()[-1]))
    readings_at(mill, now() - timedelta(days=30))
    assert states(mill)["Readings"].state == "look"
    readings_at(mill, now() - timedelta(days=3))
    assert "3.0 days ago" in wrong(mill)["Readings"].what
    # Plant time, and before all else that is wrong.
    assert wrong(mill)["Readings"].what.startswith("Nothing since ")
    others = [Sign("Disk", "wrong", "full"), *examine(mill)]
    assert "Readings: Nothing since" in sign_lines(others)[0]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_store_that_cannot_be_written_is_wrong(mill):
    mill.store_path.chmod(0o555)
    try:
        assert "cannot be written" in wrong(mill)["Store"].what
    finally:
        mill.store_path.chmod(0o755)


@pytest.mark.slow
def test_a_bit_that_flips_in_the_database_is_no_fault_of_our_own(mill, capsys):
    """DuckDB keeps a checksum of each block; whatever it says of one is told in words."""
    good = mill.database_path.read_bytes()
    codes = set()
    for at in range(8192 + 500, len(good), 262144 // 2):
        spoilt = bytearray(good)
        spoilt[at] ^= 1
        mill.database_path.write_bytes(spoilt)
        codes.add(run(["health", str(mill.config_path)]))
        assert "fault of its own" not in capsys.readouterr().err
    assert 7 in codes
    assert codes <= {0, 7}
