"""What an answer will be worth before a season is worked out: what shows, how sure, how soon."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from models.worth.coverage import CAUSES, NEEDS, Coverage, coverage_of
    from models.worth.level import Cure, Outlook, analysed, outlook_of
    from models.worth.planned import WHERE, Point
    from models.worth.seen import Seen, factor_of, rests_on_prior, results_seen
    from models.worth.soon import Watch, watch_needed
else:
    __getattr__ = handed_out(__name__, __file__)
