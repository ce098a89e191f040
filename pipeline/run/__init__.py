"""Nightly, weekly and backfill runs: the order of stages, each attempt timed and logged."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.run.attempts import Step, in_words
    from pipeline.run.log import log_event, log_folder, read_log
    from pipeline.run.order import Outcome, backfill, night_of, nightly, week_of, weekly
else:
    __getattr__ = handed_out(__name__, __file__)
