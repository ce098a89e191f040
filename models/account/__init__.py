"""From rates to tonnes, step by step; what moved first; similar episodes."""

from models.account.account import account_of, interval_kg, lost_kg, microbial_account, part_kg
from models.account.order import BLOCK_MIN, Move, Signal, on_parcel_time, order_of_moves, together
from models.account.plausibility import (
    BAD_INVERSION_PCT,
    USUAL_DESTRUCTION_PCT_H,
    USUAL_INVERSION_PCT,
    USUAL_PH_FALL,
    Band,
    Plausibility,
    plausibility,
    undetermined_band,
)
from models.account.similarity import Episode, Likeness, similar
from models.account.sums import SUM_COLUMNS, bare_sums, loss_sums, multiplier_log_sd, with_bounds
from models.account.travel import CARRIED, Way, delay_min, ways
from models.account.worked_steps import ByHand, VesselRow, Workings, work_through
