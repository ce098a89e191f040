"""Statistics that know nothing of juice: change points, outliers, chance."""

from models.search.chance import LEAST_QUIET_WEEKS, NOISE
from models.search.changepoint import z_for_false_rate
from models.search.episodes import (
    BASELINE_DAYS,
    VARIANCE_BLOCKS,
    Residual,
    Span,
    find_spans,
    measure,
    residual_of,
)
from models.search.outlier import OutlierScore, score_blocks
from models.search.significance import (
    CONFIDENT,
    CONFIDENT_Q,
    LISTED,
    cells_in,
    marks,
    q_values,
    with_marks,
)
