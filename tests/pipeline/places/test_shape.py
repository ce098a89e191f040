"""Shapes of courses: what is no measurement shows it."""

import numpy as np
import pytest
from made_looks import look_of, minutes, wandering

from pipeline.places.shape import course_of

SECOND = minutes(3.0)
SIZE = len(SECOND)


def held(levels, each=480):
    return np.repeat(np.array(levels), each)[:SIZE]


@pytest.mark.parametrize(
    ("value", "shape"),
    [
        (wandering(1, 7.0, 0.1, 0.02, SIZE), "measured"),
        (np.full(SIZE, 100.0), "constant"),
        (np.cumsum(np.abs(wandering(2, 4.0, 1.0, 0.1, SIZE))), "sum"),
        (np.cumsum(np.full(SIZE, 4.0)) % 9000.0, "sum"),
        ((np.arange(SIZE) // 300 % 2).astype(float), "switch"),
        (held([7.5, 7.6, 7.5, 7.7, 7.6, 7.4, 7.5, 7.6, 7.5]), "steps"),
    ],
)
def test_shapes(value, shape):
    assert course_of(look_of("x", SECOND, value)).shape == shape


def test_a_coarse_instrument_is_no_hand():
    """Whole degrees go back and forth by one; a hand sets other values."""
    value = np.round(wandering(4, 97.4, 0.15, 0.0, SIZE, stay=0.9995))
    tag = look_of("x", SECOND, value)
    assert np.mean(np.diff(value) == 0.0) > 0.9
    assert course_of(tag).shape == "measured"


def test_a_set_point_written_when_changed_and_now_and_then_is_known():
    """Written at changes and every six hours: few readings, many of them said again."""
    values = [7.5, 7.5, 7.5, 7.6, 7.6, 7.6, 7.6, 7.55, 7.55, 7.55, 7.5, 7.5]
    second = SECOND[0] + 21600.0 * np.arange(len(values))
    assert course_of(look_of("x", second, values)).shape == "steps"
    other = wandering(5, 7.5, 0.1, 0.05, len(values))
    assert course_of(look_of("x", second, other)).shape == "measured"
