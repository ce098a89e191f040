"""Reports by mail: written into the outbox first, then handed over, each once.

What is promised: a report that was queued is never lost, and no letter is handed over again once
its fate is known or could be success. What cannot be promised by anybody: to know the fate of a
letter when connection or process end between its last line and the server's answer. Such a
letter is told of as unsure and left to a person; sent again, it has the same Message-ID.
"""

from __future__ import annotations

import re
import smtplib
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from email import policy
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path
from typing import Final

from pipeline.base import ConfigError, DeliveryError, now, only_sender
from pipeline.mail.outbox import Letter, Outbox, name_of
from pipeline.mail.smtp import Later, Patience, Refused, Unsupported, Unsure, connected, hand_over
from pipeline.mill import MailSection, Mill
from pipeline.tongue import tongue_of
from pipeline.words import clean, joined, said

#: Lines end as on the wire, and nothing needs eight bits.
_WIRE: Final = policy.SMTP.clone(cte_type="7bit")
_ADVICE: Final = (
    "lostpol only advises. Work on hot juice, steam, lime and confined vessels follows the "
    "site's procedures and is for trained and licensed people.\n"
)
_USUAL: Final = Patience()
_KINDS: Final = {"nightly": said("nightly"), "weekly": said("weekly")}


#: Links to what lies beside a report in the store: dead in mail. Text from outside is escaped.
_LINK: Final = re.compile(r'<a href="\.\./[^"<>]*">(.*?)</a>')


def outbox_of(mill: Mill) -> Outbox:
    """Outbox of a mill."""
    return Outbox(mill.store_path / "outbox")


def send_report(
    mill: Mill, report: Path, run_id: str = "", first: str = "", patience: Patience = _USUAL
) -> None:
    """Queue a report for everybody the description names, and send all that waits.

    Parameters
    ----------
    report : Path
        The HTML file. A text and a PDF of the same name beside it go with it.
    run_id : str
        Run that the report tells of: made again for the same run, it is not sent again, though
        it may say another time of making. Without it, the content decides.
    first : str
        What the subject has to say before all else; it makes no other message of it.

    Raises
    ------
    DeliveryError
        The description has no mail section, or not everybody's server took the report. What was
        not taken stays in the outbox.
    """
    mail = _mail_of(mill)
    names = set()
    for language, readers in readers_of(mail, mill.reports.language).items():
        page = _in_language(report, language, mill.reports.language)
        html = _LINK.sub(r"\1", page.read_text(encoding="utf-8"))
        parts = _beside(page, ".txt"), _beside(page, ".pdf")
        one = mail.model_copy(update={"recipients": readers})
        own = replace(
            mill, mail=one, reports=mill.reports.model_copy(update={"language": language})
        )
        names.add(queue(own, page, html, *parts, run_id=run_id, first=first))
    tried = _flushed(mill, patience)
    held = [letter for letter in outbox_of(mill).letters() if letter.name in names]
    rest = {(x.name, x.number): x for x in [*tried, *held] if x.state != "sent"}
    if rest:
        raise _undelivered(mail, list(rest.values()), [said("report: {path}", path=report)])


def readers_of(mail: MailSection, usual: str) -> dict[str, tuple[str, ...]]:
    """Recipients by the language they read, the mill's own first."""
    by_language: dict[str, tuple[str, ...]] = {}
    for reader in sorted(mail.recipients, key=lambda one: one in mail.languages):
        language = mail.languages.get(reader, usual)
        by_language[language] = (*by_language.get(language, ()), reader)
    return by_language


def _in_language(report: Path, language: str, usual: str) -> Path:
    """The report in a reader's language; in the mill's own where it was not written in that."""
    other = report.with_name(f"{report.stem}.{language}.html")
    return other if language != usual and other.is_file() else report


def queue(
    mill: Mill,
    report: Path,
    html: str,
    text: bytes | None = None,
    pdf: bytes | None = None,
    *,
    run_id: str = "",
    first: str = "",
) -> str:
    """Write a report's message into the outbox; the same report again is the same message.

    Parameters
    ----------
    html : str
        The page.
    text, pdf : bytes, optional
        The same in plain text (UTF-8) and as PDF.
    run_id, first : str
        See `send_report`.

    Returns
    -------
    str
        Name of the message.
    """
    mail = _mail_of(mill)
    where = " ".join(clean(mill.name, 60).split())  # nothing in a name may start a new header
    tongue = tongue_of(mill.reports.language)
    kind = report.stem.partition(".")[0]
    subject = tongue(
        said(
            "Sucrose losses at {mill}: {kind} report {day}",
            mill=where,
            kind=_KINDS.get(kind, kind),
            day=report.parent.name,
        )
    )
    plain = text.decode("utf-8", "replace") if text else _plain_words(mill, report)
    # A PDF says when it was made; its content is that of the page.
    content = (run_id,) if run_id else (plain, html)
    parts = (mill.key, subject, mail.sender, *mail.recipients, *content)
    name = name_of([part.encode("utf-8", "replace") for part in parts])
    subject = " ".join((*str(tongue(clean(first, 120))).split(), subject))
    message = message_of(mail, name, subject, html, plain)
    file = f"{mill.key}_{report.parent.name}_{report.stem}"
    if pdf is None:  # readers of mail often show no drawings in a page; a browser does
        message.add_attachment(
            html.encode(), maintype="text", subtype="html", filename=f"{file}.html"
        )
    else:
        message.add_attachment(pdf, maintype="application", subtype="pdf", filename=f"{file}.pdf")
    outbox_of(mill).put(name, message.as_bytes(policy=_WIRE), mail.recipients, subject, now())
    return name


def message_of(mail: MailSection, name: str, subject: str, html: str, plain: str) -> EmailMessage:
    """Make a message: plain text and page as alternatives.

    Raises
    ------
    ConfigError
        An address cannot stand in a message.
    """
    message = EmailMessage(policy=_WIRE)
    message["Subject"] = subject
    message["From"] = _address(mail.sender)
    message["To"] = tuple(_address(one) for one in mail.recipients)
    message["Date"] = format_datetime(now())
    message["Message-ID"] = f"<{name}@{mail.sender.rpartition('@')[2]}>"
    # RFC 3834: no holiday replies to a machine.
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(plain, cte="quoted-printable")
    message.add_alternative(html, subtype="html", cte="base64")
    return message


def _address(text: str) -> Address:
    try:
        if not text.isascii():
            raise ValueError(said("only plain letters can be used"))  # noqa: TRY301
        return Address(addr_spec=text)
    except (ValueError, IndexError) as error:
        cure = said("Correct it in [mail].")
        raise ConfigError(
            said("This is no mail address: {why}.", why=error.args[0] if error.args else ""),
            clean(text),
            cure,
        ) from error


def _plain_words(mill: Mill, report: Path) -> str:
    return (
        f"This is the {report.stem} report of {clean(mill.name)}. Open the attached page in a "
        f"browser.\n\n{_ADVICE}"
    )


def _beside(report: Path, suffix: str) -> bytes | None:
    path = report.with_suffix(suffix)
    return path.read_bytes() if path.is_file() else None


def _mail_of(mill: Mill) -> MailSection:
    if mill.mail is None:
        raise DeliveryError(
            said("The description names nobody to send reports to."),
            str(mill.config_path),
            said("Add a [mail] section with host, sender and recipients."),
        )
    return mill.mail


def flush(mill: Mill, patience: Patience = _USUAL) -> list[Letter]:
    """Hand over every letter that waits, trying again a few times.

    Returns
    -------
    list of Letter
        Letters that were handed over.

    Raises
    ------
    DeliveryError
        Some letters still wait, were refused, or have become unsure.
    StoreBusyError
        Another lostpol is sending.
    """
    tried = _flushed(mill, patience)
    rest = [letter for letter in tried if letter.state != "sent"]
    if rest:
        raise _undelivered(_mail_of(mill), rest)
    return tried


def _flushed(mill: Mill, patience: Patience) -> list[Letter]:
    """Hand over what waits; gives every letter that was on its way, as it now stands."""
    mail, box = _mail_of(mill), outbox_of(mill)
    with only_sender(mill):
        mine = [x for x in box.letters() if x.state in {"waiting", "handing_over"}]
        for letter in mine:
            if letter.state == "handing_over":  # whoever handed it over did not live to tell
                box.change(letter, "unsure", "lostpol was stopped before the server answered")
        for wait_s in (0.0, *patience.waits_s):
            if not _waiting(box):
                break
            time.sleep(wait_s)
            if not _round(mail, box, patience):
                break
        box.tidy()
    after = {(x.name, x.number): x for x in box.letters()}
    return [after[x.name, x.number] for x in mine]


def put_back(mill: Mill, which: str) -> list[Letter]:
    """Let letters that were refused, or of unknown fate, wait again; a person decides that.

    Parameters
    ----------
    which : str
        Name of a message, or its beginning (four characters or more).

    Returns
    -------
    list of Letter
        Letters that wait again.

    Raises
    ------
    ConfigError
        There are none, or the name fits several messages.
    """
    with only_sender(mill):
        box = outbox_of(mill)
        mine = [
            letter
            for letter in box.letters()
            if letter.state in {"refused", "unsure"} and letter.name.startswith(which)
        ]
        if len(which) < 4 or len({letter.name for letter in mine}) != 1:
            cure = said("Give a name that lostpol outbox MILL shows as refused or unsure.")
            raise ConfigError(said("This names no single mail."), clean(which), cure)
        return [box.change(letter, "waiting") for letter in mine]


def _waiting(box: Outbox) -> list[Letter]:
    return [letter for letter in box.letters() if letter.state == "waiting"]


def _round(mail: MailSection, box: Outbox, patience: Patience) -> bool:
    """Try once to hand over all that waits; tell whether another try may help."""
    try:
        with connected(mail, patience) as server:
            for letter in _waiting(box):
                _hand_over(mail, box, letter, patience, server)
                if server.sock is None:
                    return True
    except (Later, Unsupported) as error:
        for letter in _waiting(box):
            box.change(letter, "waiting", str(error), tries=1)
        return isinstance(error, Later)
    return True


def _hand_over(
    mail: MailSection, box: Outbox, letter: Letter, patience: Patience, server: smtplib.SMTP
) -> None:
    """Hand over one letter and keep what became of it."""
    message = box.message(letter)

    def mark() -> None:
        box.change(letter, "handing_over", tries=1)

    try:
        said = hand_over(server, mail.sender, letter.recipient, message, mark, patience)
    except Later as error:
        box.change(letter, "waiting", str(error), tries=1)
    except Refused as error:
        box.change(letter, "refused", str(error), tries=1)
    except Unsure as error:
        box.change(letter, "unsure", f"no answer to the handed-over mail: {error}", tries=1)
    else:
        box.change(letter, "sent", said, tries=1)


def _undelivered(
    mail: MailSection, rest: Sequence[Letter], more: Sequence[str] = ()
) -> DeliveryError:
    """One error for all that was not delivered, by what became of it."""
    counts: Counter[str] = Counter(letter.state for letter in rest)
    words = {
        "waiting": said("{n} wait in the outbox and go with the next run", n=counts["waiting"]),
        "refused": said("{n} were refused by the mail server", n=counts["refused"]),
        "unsure": said(
            "{n} were handed over, but whether they arrived is not known", n=counts["unsure"]
        ),
    }
    fates = joined("; ", [text for state, text in words.items() if counts[state]])
    lines = [
        said(
            "{recipient}: {answer}",
            recipient=clean(x.recipient),
            answer=clean(x.said, 200) or said("not tried"),
        )
        for x in rest
    ]
    return DeliveryError(
        said("The report was written, but not all mails were taken: {fates}.", fates=fates),
        joined("\n", [said("{host}, port {port}", host=mail.host, port=mail.port), *lines, *more]),
        said(
            "Check [mail], user and password; lostpol outbox MILL lists them and --send tries "
            "again."
        ),
    )
