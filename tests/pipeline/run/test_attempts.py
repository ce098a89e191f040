"""Attempts at a run: timed, counted, logged without secrets, limited, and told of."""

import json
import os
import re
import signal
import threading
import time
from dataclasses import replace
from datetime import timedelta
from email import message_from_bytes, policy
from pathlib import Path

import pytest
from processes import PATIENCE_S
from tongue_checker import english_told

from pipeline.base.errors import DataError, DeliveryError, DiskError, StoreBusyError
from pipeline.base.lock import is_running, only_run
from pipeline.base.window import now
from pipeline.mail.mail import outbox_of
from pipeline.mill.description import load_mill
from pipeline.run import alerts, attempts, log
from pipeline.run.alerts import alert_failure, alert_silence
from pipeline.run.attempts import attempt
from pipeline.run.log import log_event, log_path, read_log, rotate
from pipeline.store.folders import store_of
from pipeline.words import said

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture
def mill(tmp_path):
    """Brindlewater with a mail server that nobody runs."""
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    text = re.sub(r'(?m)^store = ".*"$', 'store = "store"', text)
    start, end = text.index("[mail]"), text.index("[exports]")
    mail = (
        '[mail]\nhost = "127.0.0.1"\nport = 1\nstart_tls = false\n'
        'sender = "l@x.example"\nrecipients = ["a@x.example"]\n\n'
    )
    (tmp_path / "mill.toml").write_text(text[:start] + mail + text[end:], encoding="utf-8")
    return load_mill(tmp_path / "mill.toml")


def plainly(_name, stage, *arguments):
    return stage(*arguments)


def failing(error):
    def stage():
        raise error

    return stage


def test_every_stage_has_its_time_and_its_rows(mill):
    with attempt(mill, "nightly", plainly) as step:
        assert step("derive", lambda: 3) == 3
        step("report", lambda: None)
    rows = store_of(mill).stages().to_dicts()
    assert [(r["number"], r["stage"], r["state"]) for r in rows] == [
        (0, "whole", "finished"),
        (1, "derive", "finished"),
        (2, "report", "finished"),
    ]
    assert (rows[1]["row_count"], rows[1]["row_kind"]) == (3 * 1440, "minutes")
    assert all(row["took_s"] >= 0.0 for row in rows)
    assert store_of(mill).as_published().stages().height == 3


def test_rows_read_are_counted_once_before_and_after_reading(mill, monkeypatch):
    asked = []

    def rows_so_far(_attempt):
        asked.append(len(asked))
        return 10 * len(asked)

    monkeypatch.setattr(attempts._Attempt, "_readings", rows_so_far)
    with attempt(mill, "nightly", plainly) as step:
        step("pull", lambda: [])
        step("sources", lambda: [])  # none are described: nothing can have been added
        step("derive", lambda: 1)
    rows = {row["stage"]: row["row_count"] for row in store_of(mill).stages().to_dicts()}
    assert (rows["pull"], rows["sources"]) == (10, 0)
    assert len(asked) == 2


def test_the_log_tells_the_same_as_one_object_a_line(mill):
    with attempt(mill, "weekly", plainly) as step:
        step("derive", lambda: 1)
    lines = read_log(mill)
    assert [line["event"] for line in lines] == ["run started", "stage", "run ended"]
    assert {line["mill"] for line in lines} == {"brindlewater"}
    assert len({line["attempt"] for line in lines}) == 1
    assert lines[1]["stage"] == "derive"
    assert lines[2]["state"] == "finished"


def test_a_failure_is_kept_with_its_stage_and_told_of_once_a_day(mill):
    for _ in range(2):
        with pytest.raises(DataError), attempt(mill, "nightly", plainly) as step:
            step("derive", failing(DataError("Bad day.", "lake", "Mend it.")))
    rows = store_of(mill).stages().to_dicts()
    assert [r["state"] for r in rows] == ["failed"] * 4
    assert "Bad day." in rows[0]["error"]
    (letter,) = outbox_of(mill).letters()
    assert letter.subject.startswith("No nightly report from Brindlewater")
    text = outbox_of(mill).message(letter).decode()
    assert "Bad day." in text
    assert "Mend it." in text
    assert letter.state == "waiting"  # nobody listens there; it goes with the next run


def test_a_run_that_could_not_say_it_failed_is_called_failed_at_the_end(mill):
    """The database was held while the search published, and free again a moment later."""
    at = now()
    row = {"run_id": "r", "flow": "nightly", "state": "running", "versions": {}}
    row |= {"window_start": at, "window_end": at, "as_of": at, "started_at": at}
    row |= {"config_hash": "c", "inputs_hash": "i"}

    def search():
        store_of(mill).record_run(row)
        raise StoreBusyError("held", "here", "wait")

    with pytest.raises(StoreBusyError), attempt(mill, "nightly", plainly) as step:
        step("detect", search)
    assert store_of(mill).as_published().runs()["state"].to_list() == ["failed"]


def test_a_report_that_was_written_is_no_failed_run(mill):
    with pytest.raises(DeliveryError), attempt(mill, "nightly", plainly) as step:
        step("report", lambda: None)
        step("send", failing(DeliveryError("Not sent.", "x", "y")))
    whole = store_of(mill).stages().row(0, named=True)
    assert (whole["stage"], whole["state"]) == ("whole", "finished")
    assert outbox_of(mill).letters() == []


def test_silence_of_the_plant_is_told_each_morning_of_a_week(mill, monkeypatch):
    end = now() - timedelta(days=2)
    for days in (0, 0, 1, 9):
        with monkeypatch.context() as patch:
            later = now() + timedelta(days=days)
            patch.setattr(alerts, "now", lambda later=later: later)
            alert_silence(mill, end)
    letters = outbox_of(mill).letters()
    assert len(letters) == 2  # the first morning once, the second, and none after a week
    assert all("No new readings from Brindlewater" in letter.subject for letter in letters)
    told = outbox_of(mill).message(letters[0]).decode()
    assert "lostpol health" in told


@pytest.mark.parametrize("language", ["es", "pt", "fr"])
def test_word_by_mail_is_in_the_tongue_of_the_mill(mill, language):
    mill = replace(mill, reports=mill.reports.model_copy(update={"language": language}))
    alert_failure(mill, "nightly", DiskError(said("No finding"), "lake", said("nothing")))
    alert_failure(mill, "nightly", ZeroDivisionError("0"))
    alert_silence(mill, now() - timedelta(days=2))
    letters = outbox_of(mill).letters()
    assert len(letters) == 3
    for letter in letters:
        message = message_from_bytes(outbox_of(mill).message(letter), policy=policy.default)
        text = message.get_body(("plain",)).get_content()
        assert english_told(f"{letter.subject}\n{text}", language) == []
        assert f"lostpol health {mill.config_path.name}" in text
        assert not {"Finding", "What:", "Next:", "Mon", "Wed"} & set(text.split())


def test_a_backfill_by_hand_mails_nobody(mill):
    with pytest.raises(DataError), attempt(mill, "backfill", plainly, notice=False) as step:
        step("derive", failing(DataError("Bad day.", "lake", "Mend it.")))
    assert outbox_of(mill).letters() == []


def test_a_full_disk_has_its_own_words_and_code(mill):
    with pytest.raises(DiskError, match="no space left") as caught:  # noqa: SIM117
        with attempt(mill, "nightly", plainly) as step:
            step("derive", failing(OSError(28, "No space left on device")))
    assert caught.value.exit_code == 6
    assert "lostpol tidy" in caught.value.next_step


def test_a_run_that_takes_too_long_is_stopped(mill, monkeypatch):
    before = signal.getsignal(signal.SIGALRM)
    real = signal.setitimer
    monkeypatch.setattr(signal, "setitimer", lambda which, s: real(which, s and 0.05))
    with pytest.raises(attempts.LostpolError, match="longer than its limit of 180 min"):  # noqa: SIM117
        with attempt(mill, "nightly", plainly) as step:
            step("derive", lambda: time.sleep(20))
    assert signal.getsignal(signal.SIGALRM) is before


def test_a_second_run_waits_and_then_gives_up(mill):
    with only_run(mill), pytest.raises(StoreBusyError, match=r"waited 0\.2 s"):  # noqa: SIM117
        with attempt(mill, "backfill", plainly, 0.2, notice=False):
            pass
    release = only_run(mill)
    release.__enter__()
    threading.Timer(0.3, release.__exit__, (None, None, None)).start()
    with attempt(mill, "nightly", plainly, 20.0) as step:
        assert step("derive", lambda: 1) == 1


def test_no_secret_reaches_log_table_or_mail(mill, monkeypatch):
    monkeypatch.setenv("LOSTPOL_MAIL_PASSWORD", "hunter2-very")
    error = DataError(
        "Login with hunter2-very failed.", "postgresql://reader:s3cret@db/x password=abc", "Retry."
    )
    with pytest.raises(DataError), attempt(mill, "nightly", plainly) as step:
        step("sources", failing(error))
    (letter,) = outbox_of(mill).letters()
    told = log_path(mill).read_text() + str(store_of(mill).stages().to_dicts())
    told += outbox_of(mill).message(letter).decode()
    for secret in ("hunter2", "s3cret", "abc"):
        assert secret not in told.replace("=\r\n", "")
    assert "[struck out]" in told


def test_the_log_is_bounded(mill, monkeypatch):
    monkeypatch.setattr(log, "MOST_BYTES", 2000)
    for number in range(300):
        log_event(mill, "something", text="x" * 100, number=number)
        rotate(mill)
    files = sorted(log_path(mill).parent.iterdir())
    assert len(files) == log.MOST_FILES
    assert sum(f.stat().st_size for f in files) < 2500 * log.MOST_FILES
    assert json.loads(log_path(mill).with_name("lostpol.jsonl.1").read_text().splitlines()[-1])


def test_a_log_that_cannot_be_written_stops_nothing(mill):
    mill.store_path.mkdir(parents=True)
    (mill.store_path / "log").write_text("in the way")
    log_event(mill, "something")
    assert read_log(mill) == []


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_the_lock_of_a_killed_run_is_free(mill):
    child = os.fork()
    if child == 0:
        try:
            with only_run(mill):
                (mill.store_path / "held").touch()
                time.sleep(PATIENCE_S)
        finally:
            os._exit(1)  # or this copy would go on with the tests
    try:
        while not (mill.store_path / "held").exists():
            assert os.waitpid(child, os.WNOHANG) == (0, 0)
            time.sleep(0.01)
        assert is_running(mill)
    finally:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
    assert not is_running(mill)
    with attempt(mill, "nightly", plainly) as step:
        assert step("derive", lambda: 1) == 1
