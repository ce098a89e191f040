"""Reports by mail, through a small mail server on this machine."""

import socketserver
import threading
from dataclasses import replace
from email import message_from_bytes
from pathlib import Path

import pytest

from pipeline.config import load_mill
from pipeline.errors import DeliveryError
from pipeline.mail import send_report

ROOT = Path(__file__).resolve().parents[2]
BRINDLEWATER = load_mill(ROOT / "configs" / "demo_mill.toml")


class Session(socketserver.StreamRequestHandler):
    """Enough of SMTP (RFC 5321, appendix D) to take one mail."""

    def handle(self):
        self.say("220 test")
        while line := self.rfile.readline().strip():
            verb = line.split(b":")[0].split()[0].upper()
            if verb == b"RCPT" and b"refused" in line:
                self.say("550 nobody here")
            elif verb == b"DATA":
                self.say("354 go on")
                lines = iter(self.rfile.readline, b".\r\n")
                self.server.mails.append(b"".join(lines))
                self.say("250 taken")
            elif verb == b"QUIT":
                self.say("221 bye")
                return
            else:
                self.say("250 ok")

    def say(self, text):
        self.wfile.write(text.encode() + b"\r\n")


@pytest.fixture
def server():
    with socketserver.TCPServer(("127.0.0.1", 0), Session) as made:
        made.mails = []
        thread = threading.Thread(target=made.serve_forever)
        thread.start()
        yield made
        made.shutdown()
        thread.join()


@pytest.fixture
def report(tmp_path):
    path = tmp_path / "2025-11-30" / "nightly.html"
    path.parent.mkdir()
    path.write_text("<p>2.8 t lost</p>", encoding="utf-8")
    return path


def mill_with(port, **changes):
    mail = BRINDLEWATER.mail.model_copy(
        update={"host": "127.0.0.1", "port": port, "start_tls": False} | changes
    )
    return replace(BRINDLEWATER, mail=mail)


def test_the_report_arrives(server, report):
    send_report(mill_with(server.server_address[1]), report)
    message = message_from_bytes(server.mails[0])
    assert message["Subject"] == "Sucrose losses at Brindlewater: nightly report 2025-11-30"
    assert message["To"] == ", ".join(BRINDLEWATER.mail.recipients)
    text, page = message.get_payload()
    assert "only advises" in text.get_payload()
    assert page.get_filename() == "brindlewater_2025-11-30_nightly.html"
    assert "2.8 t lost" in page.get_payload(decode=True).decode()


def test_a_refused_recipient_is_named(server, report):
    everybody = ("a@mill.example", "refused@mill.example")
    with pytest.raises(DeliveryError, match="refused some recipients") as caught:
        send_report(mill_with(server.server_address[1], recipients=everybody), report)
    assert caught.value.where == "refused@mill.example"
    assert len(server.mails) == 1


def test_no_server_leaves_the_report_and_says_where(report):
    with socketserver.TCPServer(("127.0.0.1", 0), Session) as closed:
        port = closed.server_address[1]
    with pytest.raises(DeliveryError, match="did not take it") as caught:
        send_report(mill_with(port), report)
    assert str(report) in caught.value.where


def test_nobody_to_send_to(report):
    with pytest.raises(DeliveryError, match="names nobody"):
        send_report(replace(BRINDLEWATER, mail=None), report)
