"""Delivery: letters, their outbox, SMTP."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.mail.mail import flush, message_of, outbox_of, put_back, send_report
    from pipeline.mail.outbox import STATE_WORDS, Letter, State, name_of
    from pipeline.mail.smtp import Patience
else:
    __getattr__ = handed_out(__name__, __file__)
