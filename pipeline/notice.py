"""Word by mail that a scheduled report will not come, and why: through the outbox, once a day."""

from __future__ import annotations

import html
from typing import Final

from pipeline.config import Mill
from pipeline.errors import LostpolError
from pipeline.mail import flush, message_of, outbox_of
from pipeline.mail_smtp import Patience
from pipeline.outbox import name_of
from pipeline.report.text import clean
from pipeline.runlog import log_event, without_secrets
from pipeline.windows import now

#: Tried once and quickly; what is not taken waits in the outbox.
_QUICK: Final = Patience(waits_s=())
_ADVICE: Final = (
    "lostpol only advises. No report does not mean no loss: until the next one, watch pH, "
    "temperature and standing juice as you would without it, by your site's procedures."
)


def tell_of_failure(mill: Mill, flow: str, error: BaseException) -> None:
    """Queue and send word of a failed run; whatever stops that is logged and let go.

    The same failure of the same flow on the same local day is one message.
    """
    if mill.mail is None or isinstance(error, KeyboardInterrupt | GeneratorExit):
        return
    try:
        _queue(mill, flow, error)
        flush(mill, _QUICK)
    except (LostpolError, OSError, ValueError) as fault:
        log_event(mill, "failure notice not sent", flow=flow, error=f"{type(fault).__name__}")


def _queue(mill: Mill, flow: str, error: BaseException) -> None:
    mail = mill.mail
    if mail is None:
        return
    what, where, cure = _parts(mill, error)
    today = mill.local_day(now())
    subject = f"No {flow} report from {' '.join(clean(mill.name, 60).split())} on {today}"
    lines = [
        f"The {flow} run of {clean(mill.name)} ended without its report.",
        f"What:  {what}",
        f"Where: {where}",
        f"Next:  {cure}",
        f"The command lostpol doctor {mill.config_path.name} names all that is wrong, with cures.",
        _ADVICE,
    ]
    plain = "\n".join(lines) + "\n"
    page = "".join(f"<p>{html.escape(line)}</p>" for line in lines)
    parts = ("notice", mill.key, flow, str(today), what, mail.sender, *mail.recipients)
    name = name_of([part.encode("utf-8", "replace") for part in parts])
    message = message_of(mail, name, subject, page, plain)
    outbox_of(mill).put(name, message.as_bytes(), mail.recipients, subject, now())


def _parts(mill: Mill, error: BaseException) -> tuple[str, str, str]:
    """What, where and next, cleaned: file names and tags are untrusted text."""
    if isinstance(error, LostpolError):
        parts = (error.what, error.where, error.next_step)
    else:
        cure = "Run lostpol nightly by hand with --debug and report what it shows."
        parts = ("lostpol met a fault of its own.", f"{type(error).__name__}: {error}", cure)
    what, where, next_step = (clean(without_secrets(mill, part), 600) for part in parts)
    return what, where, next_step
