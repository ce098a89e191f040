"""Delivery: letters, their outbox, SMTP."""

from pipeline.mail.mail import flush, message_of, outbox_of, put_back, send_report
from pipeline.mail.outbox import Letter, State, name_of
from pipeline.mail.smtp import Patience
