"""Nightly, weekly and backfill runs: the order of stages, each attempt timed and logged."""

from pipeline.run.attempts import in_words
from pipeline.run.log import log_event, log_folder, read_log
from pipeline.run.order import Outcome, backfill, night_of, nightly, week_of, weekly
