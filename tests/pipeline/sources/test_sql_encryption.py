"""PostgreSQL over the network: TLS unless it is switched off, and never a password in the clear."""

import socket
import sys
import threading
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from sqlalchemy.engine import make_url

from pipeline.base.errors import ConfigError, DataError
from pipeline.cli.app import run
from pipeline.lake.coverage import lake_of
from pipeline.mill.description import load_mill
from pipeline.sources import sources
from pipeline.sources.encryption import how_to_connect
from pipeline.sources.sources import pull_sources

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="starts servers as POSIX does")
START = datetime(2025, 10, 6, 5, tzinfo=UTC)  # midnight of 6 October in Chicago
MILL = """
[mill]
name = "Brindlewater"
key = "brindlewater"
zone = "America/Chicago"
store = "store"
sucrose_price_per_t = 520.0
currency = "USD"

[tags."A"]
quantity = "temperature"
place = "mill"
unit = "degC"
range = [0.0, 150.0]

[[source]]
name = "plant"
kind = "sql"
table = "readings"
time_column = "at"
tag_column = "point"
value_column = "reading"
timeout_s = 5
"""
SECRET = "hunter-of-secrets"


@pytest.fixture(scope="module")
def server():
    from postgresql import postgresql

    with postgresql() as made:
        with made.as_owner() as owner:
            for k in range(144):
                row = (START + timedelta(minutes=10 * k), "A", 98.0)
                owner.execute("INSERT INTO readings VALUES (%s, %s, %s)", row)
        yield made


@pytest.fixture
def describe(tmp_path, monkeypatch):
    """Write a description that reads from a port of this machine with a password."""
    monkeypatch.setattr(sources, "now", lambda: START + timedelta(hours=24))
    monkeypatch.setenv("LOSTPOL_PLANT_PASSWORD", SECRET)
    monkeypatch.delenv("PGSSLMODE", raising=False)

    def write(port, more="", query=""):
        text = f'{MILL}url = "postgresql://127.0.0.1:{port}/postgres{query}"\nuser = "reader"\n'
        text += f'password_env = "LOSTPOL_PLANT_PASSWORD"\n{more}'
        (tmp_path / "mill.toml").write_text(text, encoding="utf-8")
        return load_mill(tmp_path / "mill.toml")

    return write


def read(mill):
    pull_sources(mill, first=START.date(), last=START.date())
    return lake_of(mill).read_readings(START.date(), (START + timedelta(days=1)).date()).height


def refused(mill):
    with pytest.raises(DataError) as caught:
        read(mill)
    assert SECRET not in str(caught.value)
    return caught.value


def test_without_tls_nothing_is_read_unless_the_description_says_so(server, describe):
    server.start(tls=False)
    told = refused(describe(server.port))
    assert "offers no encryption (TLS)" in told.what
    assert 'tls = "off"' in told.next_step
    assert read(describe(server.port, 'tls = "off"\n')) == 144


def test_with_tls_it_is_read_and_switched_off_stays_off(server, describe):
    server.start(tls=True)
    assert read(describe(server.port)) == 144
    server.start(tls=True, kind="hostssl")
    told = refused(describe(server.port, 'tls = "off"\n'))
    assert 'take tls = "off" out' in told.next_step


def test_an_authority_must_have_signed_the_certificate(server, describe, tmp_path):
    import trustme

    server.start(tls=True)
    server.authority.cert_pem.write_to_path(tmp_path / "right.pem")
    trustme.CA().cert_pem.write_to_path(tmp_path / "wrong.pem")
    assert read(describe(server.port, 'authority = "right.pem"\n')) == 144
    told = refused(describe(server.port, 'authority = "wrong.pem"\n'))
    assert "certificate is not trusted" in told.what
    with pytest.raises(ConfigError, match="no such file of an authority"):
        read(describe(server.port, 'authority = "absent.pem"\n'))


@pytest.mark.parametrize("tls", [False, True])
def test_a_password_in_the_clear_goes_to_nobody_unknown(server, describe, tls, tmp_path):
    server.start(tls=tls, method="password")
    told = refused(describe(server.port, "" if tls else 'tls = "off"\n'))
    assert "in clear text, so it was not sent" in told.what
    assert "scram-sha-256" in told.next_step
    if tls:  # inside TLS, to a server that an authority vouches for, it may go
        server.authority.cert_pem.write_to_path(tmp_path / "right.pem")
        assert read(describe(server.port, 'authority = "right.pem"\n')) == 144


def test_an_impostor_hears_no_password(describe):
    """Whoever answers without TLS is told nothing; one that asks in the clear neither.

    Messages of the protocol: https://www.postgresql.org/docs/15/protocol-message-formats.html
    """
    heard = []

    def answer(listener, offered):
        link, _ = listener.accept()
        with link:
            link.settimeout(5)
            if offered:
                link.recv(8)  # SSLRequest
                link.sendall(b"N")
            heard.append(link.recv(4096))
            link.sendall(
                b"R" + (8).to_bytes(4) + (3).to_bytes(4)
            )  # AuthenticationCleartextPassword
            heard.append(link.recv(4096))

    for more in ("", 'tls = "off"\n'):
        with socket.create_server(("127.0.0.1", 0)) as listener:
            listener.settimeout(10)
            thread = threading.Thread(target=answer, args=(listener, not more), daemon=True)
            thread.start()
            refused(describe(listener.getsockname()[1], more))
            thread.join(10)
    assert heard
    assert not any(SECRET.encode() in part for part in heard)


@pytest.mark.parametrize(
    ("more", "query", "words"),
    [
        ("", "?sslmode=disable", "asks to do without encryption"),
        ("", "?sslmode=prefer", "asks to do without encryption"),
        ("", "?password=hunter", "holds a password"),
        ('tls = "off"\nauthority = "a.pem"\n', "", "is for nothing"),
        ('tls = "maybe"\n', "", '"maybe" is not known'),
    ],
)
def test_what_the_description_may_not_say(describe, more, query, words):
    with pytest.raises(ConfigError) as caught:
        describe(5432, more, query)
    assert words in str(caught.value)
    assert "hunter" not in str(caught.value)


@pytest.mark.parametrize("key", ["password_env", "url_env"])
@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("AWS_SECRET_ACCESS_KEY", "LOSTPOL_PLANT_PASSWORD"),
        ("LOSTPOL", "LOSTPOL_PLANT_PASSWORD"),
        ("lostpol_x", "LOSTPOL_PLANT_PASSWORD"),
        ("LOSTPOL_MAIL_PASSWORD", "only the mail server"),
    ],
)
@pytest.mark.parametrize("kind", ["sql", "opcua"])
def test_a_description_gets_at_no_secret_of_another_program(tmp_path, key, name, words, kind):
    text = MILL
    if kind == "opcua":
        text = MILL[: MILL.index("[[source]]")]
        text += '[[source]]\nname = "p"\nkind = "opcua"\nnode_pattern = "ns=2;s={tag}"\n'
    if key == "password_env":
        text += f'url = "{"postgresql" if kind == "sql" else "opc.tcp"}://host/x"\n'
    (tmp_path / "mill.toml").write_text(f'{text}{key} = "{name}"\n', encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        load_mill(tmp_path / "mill.toml")
    assert f"source.1.{key}" in str(caught.value)
    assert words in str(caught.value)


def source(**more):
    return SimpleNamespace(**{"label": "source plant", "tls": "required", "authority": None} | more)


@pytest.mark.parametrize(
    ("machine", "query", "mode"),
    [
        ("", "", "require"),
        ("disable", "", "require"),
        ("verify-full", "", "verify-full"),
        ("", "?sslmode=verify-ca", "verify-ca"),
        ("verify-full", "?sslmode=require", "verify-full"),
    ],
)
def test_more_than_asked_for_stays_and_less_does_not(tmp_path, monkeypatch, machine, query, mode):
    monkeypatch.setenv("PGSSLMODE", machine)
    url = make_url(f"postgresql://host/x{query}")
    assert how_to_connect(source(), url, tmp_path)["sslmode"] == mode


def test_an_address_from_the_environment_cannot_switch_it_off(tmp_path):
    for tls, query in (("required", "disable"), ("off", "verify-full")):
        with pytest.raises(ConfigError):
            how_to_connect(
                source(tls=tls), make_url(f"postgresql://host/x?sslmode={query}"), tmp_path
            )


def test_the_command_tells_in_three_lines(server, describe, tmp_path, capsys):
    server.start(tls=False)
    describe(server.port)
    command = ["pull", str(tmp_path / "mill.toml"), "--from-source", "--from", "2025-10-06"]
    assert run(command) == 3
    said = capsys.readouterr().err
    assert said.startswith("What:")
    assert "offers no encryption" in said
    assert SECRET not in said


def test_a_question_mark_in_the_path_of_a_file_is_one(tmp_path, monkeypatch):
    import sqlite3

    monkeypatch.setattr(sources, "now", lambda: START + timedelta(hours=24))
    folder = tmp_path / "what? #1 100%"
    folder.mkdir()
    with sqlite3.connect(folder / "plant.db") as connection:
        connection.execute("CREATE TABLE readings (at TEXT, point TEXT, reading REAL)")
        connection.execute("INSERT INTO readings VALUES ('2025-10-06 06:00:00', 'A', 98.0)")
    connection.close()
    text = MILL.replace('"store"', f'"{tmp_path / "store"}"')
    text += 'url = "sqlite:///plant.db"\ntime_zone = "UTC"\n'
    (folder / "mill.toml").write_text(text, encoding="utf-8")
    assert read(load_mill(folder / "mill.toml")) == 1
