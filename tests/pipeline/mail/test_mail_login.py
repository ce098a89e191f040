"""Mail encrypted and logged in, and none that cannot be; certificates are made by trustme."""

import ssl

import pytest
import trustme
from aiosmtpd.smtp import AuthResult
from mail_server import QUICK, at, serving

from pipeline.base.errors import DeliveryError
from pipeline.mail.mail import flush, outbox_of, send_report
from pipeline.mail.smtp import PASSWORD_VARIABLE, USER_VARIABLE


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
