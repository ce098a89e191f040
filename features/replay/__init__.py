"""A recorded period run through the station again with something changed."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from features.replay.again import Recorded, Rerun, recorded, rerun
    from features.replay.change import FILTRATE_TO, STATION_KEYS, VESSEL_KEYS, Change, parse_change
    from features.replay.readings import station_column, zone_columns, zone_rows
    from features.replay.service import beside
    from features.replay.stop import stops_in
else:
    __getattr__ = handed_out(__name__, __file__)
