"""Statistics that know nothing of juice: change points, outliers, chance."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from models.search.chance import CELL_H, OWN_WEEKS
    from models.search.changepoint import change_points
    from models.search.edges import extents_of
    from models.search.episodes import (
        BASELINE_DAYS,
        VARIANCE_BLOCKS,
        Residual,
        Span,
        find_spans,
        measure,
        residual_of,
    )
    from models.search.look import Look, look_at, rate_of, strength_of
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
else:
    __getattr__ = handed_out(__name__, __file__)
