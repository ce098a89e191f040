"""Verdicts and notes given at the desk: as the command gives them, by two, undone, killed."""

import os
import re
import signal
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime

import duckdb
import pytest
from desks import client_of, desk_for, verdict_form
from processes import ending

from pipeline.base import only_run
from pipeline.cli import app
from pipeline.desk.decide import last_verdict_id
from pipeline.mill.description import load_mill
from pipeline.period import notes_of
from pipeline.store import verdicts as given_by
from pipeline.store.folders import store_of

KEY = "brindlewater"
AT = datetime(2026, 3, 1, 5, 0, tzinfo=UTC)


def where(which):
    return f"/m/{KEY}/finding/{which}/verdict"


def dump(path):
    """All that a store holds, table by table, in order."""
    with duckdb.connect(path, read_only=True) as connection:
        tables = [row[0] for row in connection.execute(
            "SELECT table_name FROM duckdb_tables() ORDER BY 1").fetchall()]  # fmt: skip
        return {t: connection.execute(f'SELECT * FROM "{t}" ORDER BY ALL').fetchall()
                for t in tables}  # fmt: skip


@pytest.mark.parametrize(
    ("verdict", "note", "cause"),
    [
        ("confirmed", "lime pump \u20ac; 'quoted' \r\nsecond line", ""),
        ("fixed", "", "ph_probe_high"),
        ("dismissed", "<script>x</script>", ""),
    ],
)
def test_a_verdict_of_the_desk_is_that_of_the_command_to_the_byte(
    tmp_path, mine, first, monkeypatch, verdict, note, cause
):
    import shutil

    monkeypatch.setattr(given_by, "now", lambda: AT)
    shutil.copytree(mine.store_path, tmp_path / "other")
    other = load_mill(tmp_path / "other" / "demo_mill.toml")
    name = first["finding_id"]
    command = ["verdict", str(other.config_path), name, verdict, "--by", "Ana"]
    command += ["--note", note] if note else []
    assert app.run(command + (["--cause", cause] if cause else [])) == 0
    desk = desk_for([mine])
    form = verdict_form(desk, KEY, name, verdict, note=note, by="Ana", cause=cause)
    answer = client_of(desk).post(where(name), data=form)
    assert answer.status_code == 303
    assert dump(mine.database_path) == dump(other.database_path)
    assert dump(store_of(mine).published) == dump(store_of(other).published)


def test_undo_takes_back_and_leaves_the_same_findings(desk, client, mine, first):
    name, before = first["finding_id"], store_of(mine).findings()
    client.post(where(name), data=verdict_form(desk, KEY, name, "dismissed", by="Ana"))
    page = client.get(f"/m/{KEY}/finding/{name}?kept=1").text
    assert "dismissed" in page
    assert "Undo: take back" in page
    assert 'value="Ana"' in page  # the name is kept by the browser
    assert not store_of(mine).findings().equals(before)
    undone = client.post(where(name), data=verdict_form(desk, KEY, name, "withdraw", by="Ben"))
    assert undone.status_code == 303
    assert store_of(mine).findings().equals(before)
    page = client.get(f"/m/{KEY}/verdicts").text
    assert "taken back" in page
    assert "Ben" in page
    again = client.post(where(name), data=verdict_form(desk, KEY, name, "withdraw"))
    assert again.status_code == 400
    assert "no verdict" in again.text


def test_of_two_people_the_second_is_told_and_loses_no_word(desk, client, mine, first):
    name = first["finding_id"]
    ana = verdict_form(desk, KEY, name, "confirmed", by="Ana", note="seen on the floor")
    ben = verdict_form(desk, KEY, name, "dismissed", by="Ben", note="gauge was off")
    assert client.post(where(name), data=ana).status_code == 303
    late = client.post(where(name), data=ben)
    assert late.status_code == 409
    assert "confirmed by Ana" in late.text
    assert "gauge was off" in late.text
    assert store_of(mine).verdicts()["verdict"].to_list() == ["confirmed"]
    ben["seen"] = str(last_verdict_id(store_of(mine).verdicts().to_dicts(), name))
    assert client.post(where(name), data=ben).status_code == 303


def test_many_at_once_keep_one_verdict_each(desk, mine):
    names = store_of(mine).findings()["finding_id"].to_list()
    jobs = [(name, who) for name in names for who in ("Ana", "Ben")]
    answers = []

    def give(name, who):
        form = {"token": desk.token, "seen": "0", "verdict": "confirmed", "by": who}
        answers.append(client_of(desk).post(where(name), data=form).status_code)

    threads = [threading.Thread(target=give, args=job) for job in jobs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [303] * len(names) + [409] * len(names)
    assert sorted(store_of(mine).verdicts()["finding_id"]) == sorted(names)


def test_waiting_gets_shorter_and_what_was_taught_is_shown(desk, client, first):
    name = first["finding_id"]
    before = client.get(f"/m/{KEY}/waiting").text
    assert f"/finding/{name}/verdict" in before
    form = verdict_form(desk, KEY, name, "dismissed", next="waiting")
    answer = client.post(where(name), data=form)
    after = client.get(answer.headers["location"]).text
    assert f"/finding/{name}/verdict" not in after
    assert f"{name}: dismissed" in after
    taught = client.get(f"/m/{KEY}/verdicts").text
    assert "What they taught" in taught
    assert f'/finding/{name}"' in taught
    season = client.get(f"/m/{KEY}/?verdict=dismissed").text
    assert 'class="said-dismissed"' in season


def test_a_note_is_kept_as_the_command_keeps_it(desk, client, mine):
    form = {"token": desk.token, "from": "2025-10-11 08:00", "to": "12:00", "kind": "stop",
            "text": "boiler <b>", "by": "Ana"}  # fmt: skip
    assert client.post(f"/m/{KEY}/notes", data=form).status_code == 303
    (note,) = notes_of(mine)
    assert (note.kind, note.text, note.author) == ("stop", "boiler <b>", "Ana")
    assert note.started == datetime(2025, 10, 11, 13, 0, tzinfo=UTC)
    assert app.run(["note", str(mine.config_path), "boiler <b>", "--from", "2025-10-11 08:00",
                    "--to", "12:00", "--kind", "stop", "--by", "Ana"]) == 0  # fmt: skip
    assert len(notes_of(mine)) == 1  # the same note, so nothing new
    season = client.get(f"/m/{KEY}/?tag=all").text
    assert "boiler &lt;b&gt;" in season
    # Whoever cannot point at a bar reads it.
    in_words = season.split('id="in-words"')[1].split("</details>")[0]
    # A short date does not part.
    told = in_words.replace("\u00a0", " ")
    assert "<bdi>Sat 11 Oct 2025 08:00 to 12:00: stop: boiler &lt;b&gt; (Ana)</bdi>" in told
    assert "<h3>Sensor troubles</h3>" in in_words
    # Marked on every strip and lane, but the clock.
    assert season.count('<g class="known"><title>') == season.count('class="row') - 2 > 10
    period = client.get(f"/m/{KEY}/period?from=2025-10-11&to=2025-10-11").text
    assert "boiler &lt;b&gt;" in period
    gone = {"token": desk.token, "withdraw": note.note_id}
    assert client.post(f"/m/{KEY}/notes", data=gone).status_code == 303
    assert notes_of(mine) == []


def test_while_a_run_works_pages_and_verdicts_go_on_and_notes_wait(desk, client, mine, first):
    name = first["finding_id"]
    with only_run(mine):
        assert client.get(f"/m/{KEY}/").status_code == 200
        assert client.get(f"/m/{KEY}/period?from=2025-10-11&to=2025-10-12").status_code == 200
        form = verdict_form(desk, KEY, name, "confirmed")
        assert client.post(where(name), data=form).status_code == 303
        note = {"token": desk.token, "from": "2025-10-11", "to": "2025-10-11", "text": "my words"}
        late = client.post(f"/m/{KEY}/notes", data=note)
    assert late.status_code == 409
    assert "Another run" in late.text
    assert "my words" in late.text
    assert notes_of(mine) == []


def test_what_a_run_publishes_is_seen_at_once(desk, client, mine, first):
    kept = desk.of(KEY)
    before = kept.now()
    assert kept.now() is before
    app.run(["verdict", str(mine.config_path), first["finding_id"], "confirmed", "--by", "Cy"])
    assert kept.now() is not before
    assert "Cy" in client.get(f"/m/{KEY}/verdicts").text
    assert kept.now().hours.equals(before.hours)


@pytest.mark.parametrize(
    "wrong",
    [{"verdict": "maybe"}, {"verdict": ""}, {"verdict": "confirmed", "cause": "nothing_such"},
     {"verdict": "confirmed", "by": "x" * 300}, {"verdict": "confirmed", "note": "y" * 10_001}],
)  # fmt: skip
def test_a_wrong_verdict_is_said_and_nothing_kept(desk, client, mine, first, wrong):
    form = verdict_form(desk, KEY, first["finding_id"], wrong["verdict"]) | wrong
    answer = client.post(where(first["finding_id"]), data=form)
    assert answer.status_code == 400
    assert "What to do next" in answer.text
    assert store_of(mine).verdicts().is_empty()


@pytest.mark.slow
def test_the_desk_is_used_while_a_season_is_worked_out_anew(desk, client, mine, first):
    name, pages = first["finding_id"], ("", "period?from=2025-10-11&to=2025-10-12", "waiting")
    command = [sys.executable, "-m", "pipeline.cli", "backfill", str(mine.config_path)]
    given = None
    with ending(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as process:
        while process.poll() is None:
            for page in pages:
                assert client.get(f"/m/{KEY}/{page}").status_code == 200
            if given is None:
                form = verdict_form(desk, KEY, name, "confirmed", by="Ana")
                given = client.post(where(name), data=form).status_code
        assert process.returncode == 0, process.stderr.read()
    assert given == 303
    assert store_of(mine).verdicts()["author"].to_list() == ["Ana"]
    assert "Ana" in client.get(f"/m/{KEY}/finding/{name}").text


@pytest.mark.slow
def test_a_desk_killed_while_it_writes_leaves_nothing_half(mine, first):
    """Kill the command's own server at growing delays after a verdict was sent."""
    import httpx

    name = first["finding_id"]
    for delay_s in (0.0, 0.01, 0.03, 0.08, 0.15):
        command = [sys.executable, "-m", "pipeline.cli", "desk", str(mine.config_path),
                   "--no-browser"]  # fmt: skip
        with ending(command, stdout=subprocess.PIPE, text=True) as process:
            address = re.search(r"http://\S+", process.stdout.readline())[0]
            page = httpx.get(f"{address}m/{KEY}/finding/{name}", timeout=60).text
            token = re.search(r'name="token" value="([^"]+)"', page)[1]
            seen = re.search(r'name="seen" value="(\d+)"', page)[1]
            form = {"token": token, "seen": seen, "verdict": "confirmed", "by": "Ana"}

            def send(address=address, form=form):
                try:
                    httpx.post(f"{address}m/{KEY}/finding/{name}/verdict", data=form, timeout=60)
                except httpx.HTTPError:
                    return

            sender = threading.Thread(target=send)
            sender.start()
            time.sleep(delay_s)
            os.kill(process.pid, signal.SIGKILL)
            sender.join()
        for path in (mine.database_path, store_of(mine).published):
            whole = dump(path)
            said = {row[2] for row in whole["verdicts"]}
            marked = {row[0] for row in whole["findings"] if "confirmed" in row}
            assert marked == said  # the verdict and what follows from it, or neither
        # A copy that was not made any more is made good by the next write.
    assert app.run(["verdict", str(mine.config_path), name, "fixed", "--by", "Ben"]) == 0
    assert dump(mine.database_path) == dump(store_of(mine).published)
