"""The server that schedules: our own, known by its word, watched as a process, and never left."""

import http.server
import json
import os
import subprocess
import sys
import threading
import time
import urllib.request
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.base.errors import ConfigError, LostpolError
from pipeline.cli.app import run
from pipeline.mill.description import load_mill
from pipeline.schedule import server

ROOT = Path(__file__).resolve().parents[3]
BRINDLEWATER = load_mill(ROOT / "configs" / "demo_mill.toml")


@contextmanager
def stranger(settings=None):
    """A program of somebody else's that answers whatever it is asked; gives port and questions."""
    asked = []

    class Answers(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            text = json.dumps(settings or {}).encode()
            self.send_response(200)
            self.send_header("Content-Length", str(len(text)))
            self.end_headers()
            self.wfile.write(text)

        def log_message(self, *_):
            pass

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Answers) as listening:
        threading.Thread(target=listening.serve_forever, daemon=True).start()
        try:
            yield listening.server_address[1], asked
        finally:
            listening.shutdown()


def program(code):
    """A process that stands for a server."""
    return subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE)


@pytest.mark.slow
@pytest.mark.prefect
def test_our_own_server_knows_its_word_and_ends_with_whoever_started_it(tmp_path):
    script = (
        "import sys, time\n"
        "from pipeline.schedule import server\n"
        "with server.own_server() as own:\n"
        "    print(own.url, flush=True)\n"
        "    time.sleep(600)\n"
    )
    home = {"PREFECT_HOME": str(tmp_path), "PYTHONPATH": str(ROOT), "PREFECT_API_URL": ""}
    starter = subprocess.Popen(
        [sys.executable, "-c", script], env=os.environ | home, stdout=subprocess.PIPE, text=True
    )
    assert starter.stdout is not None
    with starter:
        url = starter.stdout.readline().strip()
        assert url.startswith("http://127.0.0.1:")
        with urllib.request.urlopen(f"{url}/health", timeout=10) as answer:
            assert answer.status == 200
        starter.kill()  # as the system does when memory runs out: nothing is tidied up
    until = time.monotonic() + 30
    while server.answers(url) and time.monotonic() < until:
        time.sleep(0.2)
    assert not server.answers(url)
    if sys.platform != "win32":
        assert {path.stat().st_mode & 0o077 for path in tmp_path.rglob("*")} == {0}


@pytest.mark.parametrize(
    "settings", [{}, {"deployments": {"default_work_pool_name": "lostpol-guessed"}}]
)
def test_a_stranger_at_the_port_is_never_taken_for_our_server(monkeypatch, settings):
    monkeypatch.setattr(server, "_PATIENCE_S", 1.0)
    monkeypatch.setattr(server, "_TRIES", 1)
    with stranger(settings) as (port, asked):
        monkeypatch.setattr(server, "_free_port", lambda *_: port)
        monkeypatch.setattr(server, "_process", lambda *_: program("import time; time.sleep(60)"))
        with pytest.raises(LostpolError, match="did not start"), server.own_server():
            pass
        assert asked


def test_another_port_is_tried_when_ours_was_taken_meanwhile(monkeypatch):
    given = iter([program("raise SystemExit(1)"), program("import time; time.sleep(60)")])
    ports = iter([40001, 40002])
    monkeypatch.setattr(server, "_free_port", lambda *_: next(ports))
    monkeypatch.setattr(server, "_process", lambda *_: next(given))
    monkeypatch.setattr(server, "_comes_up", lambda own, _: own.process.wait(5) and False
                        if own.url.endswith("40001/api") else True)  # fmt: skip
    with server.own_server() as own:
        assert own.url == "http://127.0.0.1:40002/api"
        assert own.process.poll() is None
    assert own.process.poll() is not None


def test_a_named_address_that_is_taken_is_told(monkeypatch):
    with stranger() as (port, asked):
        with pytest.raises(ConfigError, match="No server can listen there") as told:
            next(server.own_server("127.0.0.1", port).gen)
        assert str(port) in told.value.where
        assert not asked


def test_the_watch_ends_with_the_process_whoever_answers_then(monkeypatch, capsys):
    ended = []
    monkeypatch.setattr(server.os, "_exit", ended.append)
    with stranger() as (port, asked):
        gone = program("pass")
        gone.wait(10)
        own = server.Server(f"http://127.0.0.1:{port}/api", gone)
        watching = threading.Thread(target=server.watch, args=(own,), daemon=True)
        watching.start()
        watching.join(5.0)
        assert not watching.is_alive()
        assert not asked
    assert ended == [1]
    assert "is gone" in capsys.readouterr().err


def test_the_watch_ends_when_nobody_answers_any_more(monkeypatch, capsys):
    answers = iter([True, False, True, *[False] * 6])
    ended = []
    monkeypatch.setattr(server, "_LOOK_S", 0.0)
    monkeypatch.setattr(server, "answers", lambda _: next(answers))
    monkeypatch.setattr(server.os, "_exit", ended.append)
    stuck = program("import time; time.sleep(60)")
    server.watch(server.Server("http://127.0.0.1:1/api", stuck))
    assert ended == [1]
    assert next(answers, None) is None  # one that comes back in time is no fault
    assert stuck.poll() is not None  # it would hold its port
    assert "is gone" in capsys.readouterr().err


def listening(text):
    return replace(BRINDLEWATER, schedule=BRINDLEWATER.schedule.model_copy(update={"listen": text}))


def test_the_descriptions_name_one_address_or_none():
    assert server.address_of([BRINDLEWATER]) == ("127.0.0.1", 0)
    assert server.address_of([BRINDLEWATER, listening("127.0.0.1:4242")]) == ("127.0.0.1", 4242)
    assert server.address_of([listening("[::1]:4242")]) == ("::1", 4242)
    with pytest.raises(ConfigError, match="different addresses"):
        server.address_of([listening("127.0.0.1:4242"), listening("127.0.0.1:4243")])


@pytest.mark.parametrize("said", ["4242", "127.0.0.1", "127.0.0.1:0", "127.0.0.1:70000", "a b:1"])
def test_what_is_no_address_is_told(tmp_path, said):
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    (tmp_path / "a.toml").write_text(
        text.replace("[schedule]", f'[schedule]\nlisten = "{said}"'), encoding="utf-8"
    )
    with pytest.raises(ConfigError, match=r"schedule\.listen"):
        load_mill(tmp_path / "a.toml")


def test_mills_that_cannot_be_told_apart_are_not_served(tmp_path, capsys, monkeypatch):
    from pipeline.schedule import flows

    monkeypatch.setattr(flows, "scheduling_server", lambda *_: pytest.fail("it would serve"))
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    for name, key, store in (("a", "one", "s1"), ("b", "one", "s2"), ("c", "two", "s1")):
        said = text.replace('key = "brindlewater"', f'key = "{key}"')
        said = said.replace("../lostpol_store/brindlewater", store)
        (tmp_path / f"{name}.toml").write_text(said, encoding="utf-8")
    for other, word in (("b", "key"), ("c", "store"), ("a", "key")):
        assert run(["serve", *(str(tmp_path / f"{n}.toml") for n in ("a", other))]) == 2
        said = capsys.readouterr().err
        assert f"Two of the mills share one {word}" in said
        assert f"{other}.toml" in said
