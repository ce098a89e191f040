"""The command itself: its first line, its end, who it lets in, and what it refuses to be."""

import re
import signal
import ssl
import subprocess
import sys

import httpx
import pytest
import trustme
from desks import client_of, desk_for
from processes import ending

from pipeline.base import ConfigError
from pipeline.cli import app
from pipeline.desk.access import TOKEN
from pipeline.desk.server import Listen, _require_safe

KEY = "/m/brindlewater"
SECRET = "a long word of the mill's own"


def command(mill, *more):
    return [sys.executable, "-m", "pipeline.cli", "desk", str(mill.config_path), *more]


def test_the_address_is_on_the_first_line_and_ctrl_c_ends_it_cleanly(mill):
    with ending(command(mill, "--no-browser"), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                text=True) as process:  # fmt: skip
        first = process.stdout.readline()
        address = re.fullmatch(r"Desk: (http://127\.0\.0\.1:\d+/)\n", first)[1]
        assert httpx.get(f"{address}m/brindlewater/", timeout=60).status_code == 200
        process.send_signal(signal.SIGINT)
        out, said = process.communicate(timeout=60)
    assert process.returncode == 0
    assert out.endswith("The desk has ended. Verdicts and notes given at it are kept.\n")
    assert "Traceback" not in said


def test_a_desk_for_others_asks_for_tls_and_token_before_anything_else(mill, monkeypatch, capsys):
    monkeypatch.delenv(TOKEN, raising=False)
    path = str(mill.config_path)
    for more, words in (
        (["--listen", "desk.mill.example"], "needs TLS"),
        (["--listen", "0.0.0.0"], "every address at once"),
        (["--cert", path], "two files"),
        (["--listen", "desk.mill.example", "--cert", path, "--key", path], "needs a token"),
        (["--cert", path, "--key", "none.pem"], "no such file"),
    ):
        assert app.run(["desk", path, "--no-browser", *more]) == 2
        assert words in capsys.readouterr().err
    monkeypatch.setenv(TOKEN, "short")
    assert app.run(["desk", path, "--no-browser"]) == 2
    with pytest.raises(ConfigError):
        _require_safe(Listen("10.0.0.7"))


def test_a_port_that_is_taken_is_named(mill, capsys):
    from pipeline.desk.server import _held

    with _held(0) as held:
        port = held.getsockname()[1]
        assert app.run(["desk", str(mill.config_path), "--no-browser", "--port", str(port)]) == 2
    assert f"127.0.0.1:{port}" in capsys.readouterr().err


def test_who_has_not_typed_the_token_sees_nothing(mill, monkeypatch):
    monkeypatch.setattr("pipeline.desk.access._PAUSE_S", 0.0)
    desk = desk_for([mill])
    client = client_of(desk, token=SECRET)
    page = client.get(f"{KEY}/", headers={"accept": "text/html"})
    assert (page.status_code, page.headers["location"]) == (303, "/enter")
    assert client.get(f"{KEY}/hours.csv").status_code == 401
    assert client.post(f"{KEY}/notes", data={"token": desk.token}).status_code == 401
    assert client.post("/enter", data={"token": "guess"}).status_code == 403
    assert client.post("/enter", data={"token": "x" * 9000}).status_code == 403
    assert client.get(f"{KEY}/", headers={"cookie": "desk=guess"}).status_code == 401
    entered = client.post("/enter", data={"token": SECRET})
    assert entered.status_code == 303
    cookie = entered.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert SECRET not in cookie
    assert client.get(f"{KEY}/").status_code == 200


@pytest.mark.slow
def test_others_reach_it_by_tls_alone(mill, tmp_path, monkeypatch):
    """The certificate is made by trustme (https://trustme.readthedocs.io), for tests."""
    authority = trustme.CA()
    made = authority.issue_cert("127.0.0.2")
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    cert.write_bytes(b"".join(blob.bytes() for blob in made.cert_chain_pems))
    made.private_key_pem.write_to_path(key)
    monkeypatch.setenv(TOKEN, SECRET)
    context = ssl.create_default_context()
    authority.configure_trust(context)
    more = ("--no-browser", "--listen", "127.0.0.2", "--cert", str(cert), "--key", str(key))
    with ending(command(mill, *more), stdout=subprocess.PIPE, text=True) as process:
        address = re.search(r"https://\S+", process.stdout.readline())[0]
        assert "token" in process.stdout.readline()
        with httpx.Client(verify=context, timeout=60) as client:
            assert client.get(f"{address}m/brindlewater/").status_code == 401
            entered = client.post(f"{address}enter", data={"token": SECRET})
            assert "secure" in entered.headers["set-cookie"].lower()
            assert client.get(f"{address}m/brindlewater/").status_code == 200
        with pytest.raises(httpx.HTTPError):
            httpx.get(address.replace("https", "http"), timeout=10)
