"""A recorded period run through the station again with something changed."""

from features.replay.again import Recorded, Rerun, recorded, rerun
from features.replay.change import FILTRATE_TO, STATION_KEYS, VESSEL_KEYS, Change, parse_change
from features.replay.readings import station_column, zone_columns, zone_rows
from features.replay.service import beside
from features.replay.stop import stops_in
