"""Where a loss may be: channels, and the candidates found in them."""

from models.detect.candidates import find_candidates, find_unexplained
from models.detect.channels import (
    MUD_SUFFIX,
    OLD_JUICE_MIN,
    Channel,
    level_read,
    loss_channels,
    moves,
    stop_runs,
    vessel_of,
)
from models.detect.contents import Untold, untold
from models.detect.context import Context
from models.detect.drift import drifting_hours, witness_of
from models.detect.joined import Candidate, join, running_min, running_only, with_company
from models.detect.microbial import MicrobialSpan, find_microbial
from models.detect.microbial_growth import Reading
from models.detect.sharpness import SHARPNESS_COLUMNS, lrv_ratios
from models.detect.stops import at_its_vessel, with_stops
from models.detect.uncalibrated import UNCALIBRATED_COLUMNS, kind_of, uncalibrated_of
from models.detect.vectors import residual_vectors
