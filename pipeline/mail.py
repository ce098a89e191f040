"""Sends a written report by mail; the password comes from the environment, never from a file."""

from __future__ import annotations

import os
import smtplib
import ssl
from email.message import EmailMessage
from pathlib import Path
from typing import Final

from pipeline.config import Mill
from pipeline.errors import DeliveryError

#: Environment variable with the password of the mail account.
PASSWORD_VARIABLE: Final = "LOSTPOL_MAIL_PASSWORD"
_PATIENCE_S: Final = 30.0


def send_report(mill: Mill, report: Path) -> None:
    """Send a report to everybody the mill's description names.

    Raises
    ------
    DeliveryError
        The description has no mail section, or the mail server did not take the mail.
    """
    mail = mill.mail
    if mail is None:
        raise DeliveryError(
            "The description names nobody to send reports to.",
            str(mill.config_path),
            "Add a [mail] section with host, sender and recipients.",
        )
    message = _message(mill, report)
    try:
        with smtplib.SMTP(mail.host, mail.port, timeout=_PATIENCE_S) as server:
            if mail.start_tls:
                server.starttls(context=ssl.create_default_context())
            if mail.user is not None:
                server.login(mail.user, os.environ.get(PASSWORD_VARIABLE, ""))
            refused = server.send_message(message)
    except (OSError, smtplib.SMTPException) as error:
        raise DeliveryError(
            f"The report was written but the mail server did not take it: {error}.",
            f"{mail.host}, port {mail.port}; report: {report}",
            f"Check [mail] and the password in {PASSWORD_VARIABLE}, or hand the report on.",
        ) from error
    if refused:
        raise DeliveryError(
            "The mail server refused some recipients.",
            ", ".join(sorted(refused)),
            "Correct their addresses under [mail] recipients.",
        )


def _message(mill: Mill, report: Path) -> EmailMessage:
    """Plain words, with the report attached."""
    if mill.mail is None:
        raise ValueError("mill has no mail section: check before making a message")
    message = EmailMessage()
    message["Subject"] = f"Sucrose losses at {mill.name}: {report.stem} report {report.parent.name}"
    message["From"] = mill.mail.sender
    message["To"] = ", ".join(mill.mail.recipients)
    message.set_content(
        f"The {report.stem} report of {mill.name} is attached; open it in a browser.\n\n"
        "lostpol only advises. Work on hot juice, steam, lime and confined vessels follows the "
        "site's procedures and is for trained and licensed people.\n"
    )
    message.add_attachment(
        report.read_bytes(),
        maintype="text",
        subtype="html",
        filename=f"{mill.key}_{report.parent.name}_{report.name}",
    )
    return message
