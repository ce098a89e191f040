"""One letter over one connection to a mail server, with what each way to fail means.

The last line of a message is sent apart from the rest. Whatever fails before it, the server has
taken nothing (RFC 5321, section 4.1.1.4: only the end of data makes it process the mail), so the
letter can safely be sent again. What fails after it and before the answer cannot be told from
success. The mark between the two is therefore set with everything else already sent.
"""

from __future__ import annotations

import os
import re
import smtplib
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Final

from pipeline.mill import MailSection

#: Environment variables with the mail account.
USER_VARIABLE: Final = "LOSTPOL_MAIL_USER"
PASSWORD_VARIABLE: Final = "LOSTPOL_MAIL_PASSWORD"

_TAKEN: Final = 250
_GO_ON: Final = 354
_LINE_START_DOT: Final = re.compile(rb"(?m)^\.")


class Later(Exception):  # noqa: N818
    """Not now: another try may help."""


class Unsupported(Exception):  # noqa: N818
    """The server takes nothing from us until somebody puts something right."""


class Refused(Exception):  # noqa: N818
    """The server will never take this letter."""


class Unsure(Exception):  # noqa: N818
    """The letter was handed over and no answer came."""


@dataclass(frozen=True, slots=True)
class Patience:
    """How long to wait and how often to try [s].

    Attributes
    ----------
    waits_s : tuple of float
        Pauses before further tries; their number bounds the tries.
    answer_s : float
        For every answer but the last; RFC 5321, section 4.5.3.2, asks for up to 300.
    receipt_s : float
        For the answer to the end of a message: 600 by RFC 5321, section 4.5.3.2.6, because giving
        up here leaves a letter of unknown fate.
    """

    waits_s: tuple[float, ...] = (5.0, 30.0, 120.0)
    answer_s: float = 60.0
    receipt_s: float = 600.0


@contextmanager
def connected(mail: MailSection, patience: Patience) -> Iterator[smtplib.SMTP]:
    """Connect, encrypt and log in as the description and the environment say.

    Raises
    ------
    Later
        No connection, or a server that is busy.
    NotLikeThis
        A certificate that cannot be trusted, a wrong password, no encryption.
    """
    user = os.environ.get(USER_VARIABLE) or mail.user
    password = os.environ.get(PASSWORD_VARIABLE, "")
    if user and not password:
        raise Unsupported(f"the password of {user} is not in {PASSWORD_VARIABLE}")
    if user and not (mail.tls or mail.start_tls):
        raise Unsupported("the password would go unencrypted; set tls or start_tls")
    with _told():
        server = _greeted(mail, patience)
    try:
        with _told():
            if mail.start_tls and not mail.tls:
                _encrypt(server)
            server.ehlo_or_helo_if_needed()
            if user:
                server.login(user, password)
        yield server
        with suppress(OSError, smtplib.SMTPException):
            server.quit()
    finally:
        server.close()


def _greeted(mail: MailSection, patience: Patience) -> smtplib.SMTP:
    if mail.tls:
        context = ssl.create_default_context()
        return smtplib.SMTP_SSL(mail.host, mail.port, timeout=patience.answer_s, context=context)
    return smtplib.SMTP(mail.host, mail.port, timeout=patience.answer_s)


def _encrypt(server: smtplib.SMTP) -> None:
    code, reply = server.starttls(context=ssl.create_default_context())
    if code != 220:
        raise smtplib.SMTPResponseException(code, reply)


@contextmanager
def _told() -> Iterator[None]:
    """Sort what goes wrong on the way in by whether waiting helps."""
    try:
        yield
    except smtplib.SMTPNotSupportedError as error:
        raise Unsupported(str(error)) from error
    except smtplib.SMTPResponseException as error:
        text = _said(error.smtp_code, error.smtp_error)
        if 400 <= error.smtp_code < 500:
            raise Later(text) from error
        raise Unsupported(text) from error
    except ssl.SSLError as error:  # a certificate is not mended by waiting
        raise Unsupported(f"no trusted encryption: {error}") from error
    except (OSError, smtplib.SMTPException) as error:
        raise Later(str(error) or type(error).__name__) from error


def hand_over(
    server: smtplib.SMTP,
    sender: str,
    recipient: str,
    message: bytes,
    mark: Callable[[], None],
    patience: Patience,
) -> str:
    """Hand one letter to the server.

    Parameters
    ----------
    message : bytes
        Lines that end in CR LF, of at most 998 characters.
    mark : callable
        Called when everything but the last line is sent; must not return before what it keeps is
        on the disk.

    Returns
    -------
    str
        What the server said when it took the letter.

    Raises
    ------
    Later, Refused, Unsure
        See there. After ``Unsure`` the connection is of no more use.
    """
    body = _LINE_START_DOT.sub(b"..", message)
    try:
        size = [f"SIZE={len(body)}"] if server.has_extn("size") else []
        _expect(_TAKEN, *server.mail(sender, size))
        _expect(_TAKEN, *server.rcpt(recipient))
        _expect(_GO_ON, *server.docmd("DATA"))
        server.send(body)
    except (Later, Refused):
        with suppress(OSError, smtplib.SMTPException):
            server.rset()
        raise
    except (OSError, smtplib.SMTPException) as error:
        server.close()
        raise Later(str(error) or type(error).__name__) from error
    mark()
    try:
        if server.sock is not None:
            server.sock.settimeout(patience.receipt_s)
        server.send(b".\r\n")
        code, reply = server.getreply()
        if server.sock is not None:
            server.sock.settimeout(patience.answer_s)
    except (OSError, smtplib.SMTPException) as error:
        server.close()
        raise Unsure(str(error) or type(error).__name__) from error
    _expect(_TAKEN, code, reply)
    return _said(code, reply)


def _expect(wanted: int, code: int, reply: bytes) -> None:
    """Let a positive answer pass; 4xx means later, anything else never.

    530 asks for a login (RFC 4954, section 6): the letter is none the worse, so it waits.
    """
    if code == wanted or (wanted == _TAKEN and code == 251):
        return
    text = _said(code, reply)
    raise Later(text) if 400 <= code < 500 or code == 530 else Refused(text)


def _said(code: int, reply: bytes | str) -> str:
    text = reply.decode("utf-8", "replace") if isinstance(reply, bytes) else reply
    return f"{code} {text}"
