"""Exports into days of the lake: staged, planned, carried out, never half."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.pull.bring_back import Restored, restore, restorer, wanted_for
    from pipeline.pull.inbox import INBOX_NOTES, exports_in, hashed, still_arriving
    from pipeline.pull.journal import find_export, open_journal
    from pipeline.pull.known import NOTES, all_notes, days_pulled, pulled_before, shown_lately
    from pipeline.pull.ledger import PullResult, SourceLedger
    from pipeline.pull.marks import Wanted, lost, wait_for, wait_no_more, waiting, wanted_by
    from pipeline.pull.pull import pull_files, unfinished
else:
    __getattr__ = handed_out(__name__, __file__)
