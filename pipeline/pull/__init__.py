"""Exports into days of the lake: staged, planned, carried out, never half."""

from pipeline.pull.inbox import INBOX_NOTES, exports_in, hashed, still_arriving
from pipeline.pull.known import days_pulled, shown_lately
from pipeline.pull.ledger import PullResult, SourceLedger
from pipeline.pull.pull import pull_files, unfinished
