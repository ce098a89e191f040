"""An episode says whether it stands out as a whole or by hours that come and go."""

import numpy as np
import pytest

from models.judge import draw_noise
from models.search.episodes import find_spans, residual_of
from models.search.look import look_at

DAY = 1440
BEGINS = 14 * DAY


@pytest.mark.parametrize("comes_and_goes", [True, False])
def test_an_episode_tells_hours_that_come_and_go_from_one_stretch(comes_and_goes):
    values = draw_noise("ou_45min", 3, 28 * DAY)
    if comes_and_goes:  # an hour on, three off, for two days
        for n in range(12):
            values[BEGINS + 240 * n :][:60] += 6.0
    else:
        values[BEGINS:][:480] += 4.0
    found = find_spans(
        residual_of(values, np.ones(len(values), bool), look_at(values, None)), 0.05, 0.0, 0.1
    )
    (span,) = (s for s in found if s.start < BEGINS + DAY and s.end > BEGINS)
    assert span.spells is comes_and_goes
    assert span.sure
