"""Where a loss may be: channels, and the candidates found in them."""

from models.detect.candidates import Candidate, find_candidates, find_unexplained
from models.detect.channels import MUD_SUFFIX, Channel, loss_channels, stop_runs, vessel_of
from models.detect.context import Context
from models.detect.microbial import MicrobialSpan, find_microbial
from models.detect.microbial_growth import Reading
from models.detect.sharpness import SHARPNESS_COLUMNS, lrv_ratios
from models.detect.vectors import residual_vectors
