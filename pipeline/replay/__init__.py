"""A recorded period run again with something changed, from what lies in the lake."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.replay.answered import Replay, driven_of, record_of, refuse_outside, replay
    from pipeline.replay.for_programs import replay_as_data
    from pipeline.replay.levers import Levers, levers_of, work_out_levers
    from pipeline.replay.prices import LIME_PRICE_SHARE, RS_PRICE_SHARE, prices_of
    from pipeline.replay.season import SeasonRan
    from pipeline.replay.told import replay_json, replay_lines, replay_told
    from pipeline.replay.words import change_words, ph_words
else:
    __getattr__ = handed_out(__name__, __file__)
