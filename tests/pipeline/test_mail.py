"""Reports by mail through a real mail server: delivered once, and kept when it does not take them.

The server is aiosmtpd, which follows RFC 5321; certificates are made for each run by trustme.
"""

import asyncio
import ssl
import subprocess
import sys
import threading
from contextlib import contextmanager
from dataclasses import replace
from email import message_from_bytes, policy
from pathlib import Path

import pytest
import trustme
from aiosmtpd.smtp import SMTP, AuthResult

from pipeline import cli
from pipeline.config import load_mill
from pipeline.errors import ConfigError, DataError, DeliveryError, StoreBusyError
from pipeline.lock import only_sender
from pipeline.mail import flush, outbox_of, put_back, queue, send_report
from pipeline.mail_smtp import PASSWORD_VARIABLE, USER_VARIABLE, Patience

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "configs" / "demo_mill.toml"
BRINDLEWATER = load_mill(DEMO)
QUICK = Patience(waits_s=(0.0, 0.01), answer_s=2.0, receipt_s=0.3)


class Inbox:
    """What the server does with mail; tests change one step at a time."""

    def __init__(self):
        self.mails = []
        self.answers = {}
        self.on_rcpt = self.on_data = lambda: None
        self.slow_s = 0.0

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
        self.on_rcpt()
        said = self.answers.get(address)
        if said:
            return said.pop(0)
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        said = self.answers.get("data")
        if said:
            return said.pop(0)
        self.mails.append((envelope.rcpt_tos[0], envelope.original_content or envelope.content))
        self.on_data()
        await asyncio.sleep(self.slow_s)
        return "250 taken"

    @property
    def readers(self):
        return [address for address, _ in self.mails]


@contextmanager
def serving(inbox, ssl_context=None, **how):
    """The server on a port of its own, in a thread of its own."""
    loop = asyncio.new_event_loop()

    def one():
        return SMTP(inbox, hostname="mail.x.example", loop=loop, **how)

    server = loop.run_until_complete(loop.create_server(one, "127.0.0.1", 0, ssl=ssl_context))
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        asyncio.run_coroutine_threadsafe(closed(server), loop).result(5)
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        loop.close()


async def closed(server):
    server.close()
    rest = asyncio.all_tasks() - {asyncio.current_task()}
    for task in rest:
        task.cancel()
    await asyncio.gather(*rest, return_exceptions=True)


@pytest.fixture
def inbox():
    return Inbox()


@pytest.fixture
def port(inbox):
    with serving(inbox) as number:
        yield number


@pytest.fixture(autouse=True)
def no_account(monkeypatch):
    monkeypatch.delenv(USER_VARIABLE, raising=False)
    monkeypatch.delenv(PASSWORD_VARIABLE, raising=False)


@pytest.fixture
def report(tmp_path):
    path = tmp_path / "2025-11-30" / "nightly.html"
    path.parent.mkdir()
    path.write_text("<p>2.8 t lost</p>\n.\n<p>" + "x" * 3000 + "é</p>", encoding="utf-8")
    return path


@pytest.fixture
def mill(tmp_path):
    return replace(BRINDLEWATER, store_path=tmp_path / "store")


def at(mill, port, **changes):
    mail = {"host": "127.0.0.1", "port": port, "start_tls": False, "recipients": ("a@x.example",)}
    return replace(mill, mail=BRINDLEWATER.mail.model_copy(update=mail | changes))


def states(mill):
    return [letter.state for letter in outbox_of(mill).letters()]


def free_port():
    with serving(Inbox()) as number:
        return number


def test_page_text_and_pdf_arrive(mill, report, inbox, port):
    report.with_suffix(".txt").write_text("2.8 t lost, é\n.\n", encoding="utf-8")
    report.with_suffix(".pdf").write_bytes(b"%PDF-1.7\n.\r\n\x00\xff")
    send_report(at(mill, port), report, patience=QUICK)
    ((_, raw),) = inbox.mails
    assert max(map(len, raw.split(b"\r\n"))) <= 998  # RFC 5321, section 4.5.3.1.6
    message = message_from_bytes(raw, policy=policy.default)
    assert message["Subject"] == "Sucrose losses at Brindlewater: nightly report 2025-11-30"
    assert message["To"] == "a@x.example"
    page, text = (message.get_body((kind,)).get_content() for kind in ("html", "plain"))
    assert page.replace("\r\n", "\n").rstrip() == report.read_text(encoding="utf-8")
    assert text.replace("\r\n", "\n") == "2.8 t lost, é\n.\n"
    (pdf,) = message.iter_attachments()
    assert pdf.get_filename() == "brindlewater_2025-11-30_nightly.pdf"
    assert pdf.get_content() == b"%PDF-1.7\n.\r\n\x00\xff"
    assert states(mill) == ["sent"]


def test_links_to_what_lies_in_the_store_stay_behind(mill, report, inbox, port):
    there = '<a href="../dossier/0a/dossier.html">0a</a> <a href="https://x.example/">b</a>'
    report.write_text(f"<p>finding {there}</p>", encoding="utf-8")
    send_report(at(mill, port), report, patience=QUICK)
    message = message_from_bytes(inbox.mails[0][1], policy=policy.default)
    page = message.get_body(("html",)).get_content()
    assert page.rstrip() == '<p>finding 0a <a href="https://x.example/">b</a></p>'


def test_without_a_pdf_the_page_is_attached(mill, report, inbox, port):
    send_report(at(mill, port), report, patience=QUICK)
    message = message_from_bytes(inbox.mails[0][1], policy=policy.default)
    (page,) = message.iter_attachments()
    assert page.get_filename() == "brindlewater_2025-11-30_nightly.html"
    assert "only advises" in message.get_body(("plain",)).get_content()


def test_the_same_report_is_sent_once_and_a_new_one_again(mill, report, inbox, port):
    here = at(mill, port, recipients=("a@x.example", "b@x.example"))
    for _ in range(3):
        send_report(here, report, patience=QUICK)
    assert inbox.readers == ["a@x.example", "b@x.example"]
    report.write_text("<p>3.1 t lost</p>", encoding="utf-8")
    send_report(here, report, patience=QUICK)
    assert len(inbox.mails) == 4
    names = {message_from_bytes(raw)["Message-ID"] for _, raw in inbox.mails}
    assert len(names) == 2


def test_a_report_made_again_for_the_same_run_is_not_sent_again(mill, report, inbox, port):
    for run, page in (("run1", "made at 05:00"), ("run1", "made at 05:10"), ("run2", "new data")):
        report.write_text(page, encoding="utf-8")
        send_report(at(mill, port), report, run, QUICK)
    pages = [message_from_bytes(raw, policy=policy.default) for _, raw in inbox.mails]
    told = [page.get_body(("html",)).get_content().strip() for page in pages]
    assert told == ["made at 05:00", "new data"]


def test_a_server_that_is_down_gets_it_when_it_is_back(mill, report, inbox):
    port = free_port()
    with pytest.raises(DeliveryError, match="1 wait in the outbox") as caught:
        send_report(at(mill, port), report, patience=QUICK)
    assert str(report) in caught.value.where
    assert outbox_of(mill).letters()[0].tries == 3
    report.rename(report.with_name("gone.html"))
    with serving(inbox) as port:
        flush(at(mill, port), QUICK)
        flush(at(mill, port), QUICK)
    assert len(inbox.mails) == 1
    assert states(mill) == ["sent"]


def test_mail_that_waits_goes_before_the_next_report(mill, report, inbox, port):
    with pytest.raises(DeliveryError):
        send_report(at(mill, free_port()), report, patience=QUICK)
    report.write_text("<p>the next night</p>", encoding="utf-8")
    send_report(at(mill, port), report, patience=QUICK)
    assert [
        "next night"
        in message_from_bytes(raw, policy=policy.default).get_body(("html",)).get_content()
        for _, raw in inbox.mails
    ] == [False, True]


def test_a_greylisting_server_gets_it_on_a_later_try(mill, report, inbox, port):
    inbox.answers = {"a@x.example": ["451 try again", "450 and again"]}
    send_report(at(mill, port), report, patience=QUICK)
    assert inbox.readers == ["a@x.example"]
    assert outbox_of(mill).letters()[0].tries == 3


def test_a_refused_reader_is_named_and_the_others_get_it(mill, report, inbox, port):
    inbox.answers = {"no@x.example": ["550 nobody here"] * 9}
    everybody = ("no@x.example", "a@x.example")
    with pytest.raises(DeliveryError, match="1 were refused") as caught:
        send_report(at(mill, port, recipients=everybody), report, patience=QUICK)
    assert "no@x.example: 550 nobody here" in caught.value.where
    assert "a@x.example" not in caught.value.where
    assert inbox.readers == ["a@x.example"]
    assert flush(at(mill, port), QUICK) == []
    assert states(mill) == ["refused", "sent"]


def test_a_message_refused_whole_is_kept(mill, report, inbox, port):
    inbox.answers = {"data": ["552 too large"]}
    with pytest.raises(DeliveryError, match="refused"):
        send_report(at(mill, port), report, patience=QUICK)
    (letter,) = outbox_of(mill).letters()
    assert (letter.state, letter.said) == ("refused", "552 too large")
    assert outbox_of(mill).message(letter)


def test_a_full_server_is_tried_again(mill, report, inbox, port):
    inbox.answers = {"data": ["452 disk full"]}
    send_report(at(mill, port), report, patience=QUICK)
    assert len(inbox.mails) == 1


def test_no_answer_after_the_last_line_leaves_it_unsure_and_sends_no_second(
    mill, report, inbox, port
):
    inbox.slow_s = 0.8
    with pytest.raises(DeliveryError, match="whether they arrived is not known"):
        send_report(at(mill, port), report, patience=QUICK)
    inbox.slow_s = 0.0
    assert flush(at(mill, port), QUICK) == []
    assert states(mill) == ["unsure"]
    assert len(inbox.mails) == 1
    assert outbox_of(mill).message(outbox_of(mill).letters()[0])


def test_a_server_that_never_greets_is_given_up_in_time(mill, report):
    async def mute(reader, writer):
        await reader.read()
        writer.close()

    loop = asyncio.new_event_loop()
    server = loop.run_until_complete(asyncio.start_server(mute, "127.0.0.1", 0))
    try:
        # The system takes the connection by itself; nobody ever speaks.
        port = server.sockets[0].getsockname()[1]
        with pytest.raises(DeliveryError, match="wait in the outbox") as caught:
            send_report(at(mill, port), report, patience=replace(QUICK, answer_s=0.1))
        assert "timed out" in caught.value.where
        assert states(mill) == ["waiting"]
    finally:
        server.close()
        loop.run_until_complete(server.wait_closed())
        loop.close()


FLUSH = """
import sys
from dataclasses import replace
from pathlib import Path
from pipeline import cli
from pipeline.config import load_mill
from pipeline.mail import flush
mill = load_mill(Path(sys.argv[1]))
mail = mill.mail.model_copy(update={"host": "127.0.0.1", "port": int(sys.argv[3]),
    "start_tls": False})
flush(replace(mill, mail=mail, store_path=Path(sys.argv[2])))
"""


def test_the_next_report_tells_of_a_letter_that_became_unsure(mill, report, inbox, port):
    here = at(mill, port)
    queue(here, report, "<p>killed night</p>")
    box = outbox_of(mill)
    box.change(box.letters()[0], "handing_over")
    with pytest.raises(DeliveryError, match="1 were handed over, but whether"):
        send_report(here, report, patience=QUICK)
    assert sorted(states(mill)) == ["sent", "unsure"]
    report.write_text("<p>the night after</p>", encoding="utf-8")
    send_report(here, report, patience=QUICK)


@pytest.mark.parametrize(
    ("moment", "arrived", "after"), [("rcpt", 0, ["sent"]), ("data", 1, ["unsure"])]
)
def test_killed_while_sending(mill, report, inbox, port, moment, arrived, after):
    """Before the last line it is sent again; after it, never: the server has it."""
    here = at(mill, port)
    queue(here, report, report.read_text(encoding="utf-8"))
    command = [sys.executable, "-c", FLUSH, str(DEMO), str(mill.store_path), str(port)]
    with subprocess.Popen(command, stderr=subprocess.DEVNULL) as sender:
        setattr(inbox, f"on_{moment}", sender.kill)
        assert sender.wait(60) == -9
    assert len(inbox.mails) == arrived
    inbox.on_rcpt = lambda: None
    try:
        flush(here, QUICK)
    except DeliveryError as error:
        assert after == ["unsure"]
        assert "stopped before the server answered" in error.where
    assert states(mill) == after
    assert inbox.readers == ["a@x.example"]


def test_only_a_person_sends_an_unsure_letter_again(mill, report, inbox, port):
    inbox.slow_s = 0.5
    with pytest.raises(DeliveryError):
        send_report(at(mill, port), report, patience=QUICK)
    inbox.slow_s = 0.0
    name = outbox_of(mill).letters()[0].name
    put_back(mill, name[:6])
    flush(at(mill, port), QUICK)
    assert states(mill) == ["sent"]
    # A second copy, if the first did arrive, bears the same Message-ID.
    assert len({message_from_bytes(raw)["Message-ID"] for _, raw in inbox.mails}) == 1
    with pytest.raises(ConfigError, match="no single mail"):
        put_back(mill, name)


def test_the_outbox_command(tmp_path, report, inbox, port, capsys):
    text = DEMO.read_text(encoding="utf-8")
    text = text.replace('host = "mail.brindlewater.example"', 'host = "127.0.0.1"')
    text = text.replace("[mail]\n", f"[mail]\nport = {port}\nstart_tls = false\n")
    kept = [x for x in text.splitlines() if not x.startswith(("port = 587", "start_tls = true"))]
    kept = ['store = "store"' if x.startswith("store =") else x for x in kept]
    path = tmp_path / "mill.toml"
    path.write_text("\n".join(kept), encoding="utf-8")
    described = load_mill(path)
    assert cli.run(["outbox", str(path)]) == 0
    assert "The outbox is empty" in capsys.readouterr().out
    queue(described, report, "<p>page</p>")
    assert cli.run(["outbox", str(path)]) == 0
    said = capsys.readouterr().out
    assert "waiting" in said
    assert "America/Chicago" in said
    assert cli.run(["outbox", str(path), "--send"]) == 0
    assert len(inbox.mails) == len(described.mail.recipients)
    assert "sent" in capsys.readouterr().out
    assert cli.run(["outbox", str(path), "--again", "abcd"]) == 2


@pytest.mark.parametrize("damage", ["", "[]", '{"state": "sent"}', "elsewhere"])
def test_a_damaged_letter_is_named(mill, report, damage):
    name = queue(at(mill, 25), report, "<p>page</p>")
    path = outbox_of(mill).path / name / "000.json"
    text = path.read_text().replace(name, "../../elsewhere") if damage == "elsewhere" else damage
    path.write_text(text)
    with pytest.raises(DataError, match="cannot be read") as caught:
        flush(at(mill, 25), QUICK)
    assert str(path) in caught.value.where


def test_two_senders_at_a_time_are_one_too_many(mill, report, port):
    with (
        only_sender(mill),
        pytest.raises(StoreBusyError, match="Another lostpol is sending"),
        only_sender(mill, patience_s=0.1),
    ):
        pytest.fail("two held it")


# Encryption and login.


@pytest.fixture(scope="module")
def authority(tmp_path_factory):
    """A certificate authority, its file, and a server context it vouches for."""
    made = trustme.CA()
    path = tmp_path_factory.mktemp("authority") / "authority.pem"
    made.cert_pem.write_to_path(path)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    made.issue_cert("127.0.0.1").configure_cert(context)
    return path, context


def login(server, session, envelope, mechanism, data):
    good = (data.login, data.password) == (b"lostpol", b"right")
    return AuthResult(success=good, handled=good)


@pytest.fixture
def secured(inbox, authority, monkeypatch):
    """A server that asks for encryption and a login; the mill's machine trusts its authority."""
    path, context = authority
    monkeypatch.setenv("SSL_CERT_FILE", str(path))
    monkeypatch.setenv(USER_VARIABLE, "lostpol")
    how = {"authenticator": login, "auth_required": True, "require_starttls": True}
    with serving(inbox, tls_context=context, **how) as number:
        yield number


def test_encrypted_and_logged_in(mill, report, inbox, secured, monkeypatch):
    monkeypatch.setenv(PASSWORD_VARIABLE, "right")
    send_report(at(mill, secured, start_tls=True), report, patience=QUICK)
    assert len(inbox.mails) == 1


@pytest.mark.parametrize(
    ("password", "changes", "says"),
    [
        ("wrong", {"start_tls": True}, "535"),
        ("", {"start_tls": True}, "the password of lostpol is not in"),
        ("right", {"start_tls": False}, "would go unencrypted"),
    ],
)
def test_a_login_that_fails_is_tried_once_and_the_mail_waits(
    mill, report, inbox, secured, monkeypatch, password, changes, says
):
    monkeypatch.setenv(PASSWORD_VARIABLE, password)
    with pytest.raises(DeliveryError, match="wait in the outbox") as caught:
        send_report(at(mill, secured, **changes), report, patience=QUICK)
    assert says in caught.value.where
    assert "right" not in str(caught.value).replace("rights", "")
    assert outbox_of(mill).letters()[0].tries == 1
    monkeypatch.setenv(PASSWORD_VARIABLE, "right")
    flush(at(mill, secured, start_tls=True), QUICK)
    assert len(inbox.mails) == 1


def test_a_server_that_cannot_be_trusted_gets_nothing(mill, report, inbox, secured, monkeypatch):
    monkeypatch.delenv("SSL_CERT_FILE")
    monkeypatch.setenv(PASSWORD_VARIABLE, "right")
    with pytest.raises(DeliveryError, match="wait") as caught:
        send_report(at(mill, secured, start_tls=True), report, patience=QUICK)
    assert "no trusted encryption" in caught.value.where
    assert inbox.mails == []


def test_a_server_without_encryption_gets_nothing(mill, report, inbox, port):
    with pytest.raises(DeliveryError, match="wait") as caught:
        send_report(at(mill, port, start_tls=True), report, patience=QUICK)
    assert "STARTTLS" in caught.value.where
    assert inbox.mails == []


def test_encrypted_from_the_first_byte(mill, report, inbox, authority, monkeypatch):
    path, context = authority
    monkeypatch.setenv("SSL_CERT_FILE", str(path))
    with serving(inbox, ssl_context=context) as number:
        send_report(at(mill, number, tls=True), report, patience=QUICK)
    assert len(inbox.mails) == 1


# What a description or a name may try.


@pytest.mark.parametrize(
    "name",
    ["x\r\nBcc: everybody@x.example", "a\x00b", "\u202eevil", "y" * 5000, "=?utf-8?q?z?=", "é"],
)
def test_a_hostile_name_is_only_a_subject(mill, report, inbox, port, name):
    send_report(at(replace(mill, name=name), port), report, patience=QUICK)
    message = message_from_bytes(inbox.mails[0][1], policy=policy.default)
    assert message["Bcc"] is None
    assert message["Subject"].strip().startswith("Sucrose losses at ")
    assert message["Subject"].endswith("nightly report 2025-11-30")
    assert set(message.keys()) == {
        *("Subject", "From", "To", "Date", "Message-ID", "Auto-Submitted", "MIME-Version"),
        "Content-Type",
    }


def test_an_address_that_is_none_is_told(mill, report):
    with pytest.raises(ConfigError, match="no mail address"):
        send_report(at(mill, 25, recipients=("ä@x.example",)), report, patience=QUICK)


def test_nobody_to_send_to(mill, report):
    with pytest.raises(DeliveryError, match="names nobody"):
        send_report(replace(mill, mail=None), report)
