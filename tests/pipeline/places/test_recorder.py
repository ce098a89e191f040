"""How values run between readings, from how the recorder chose them."""

import numpy as np
import pytest
from made_looks import look_of, wandering

from pipeline.places.points import POINT_NUMBER, POINTS
from pipeline.places.recorder import habits_of, run_of

LIME = POINTS[POINT_NUMBER["lime_flow", "liming_tank", "in"]]


def course(seed=3, size=20000, noise=0.05):
    return wandering(seed, 100.0, 2.0, noise, size)


def by_exception(value, band, longest):
    kept, last, at = [0], value[0], 0
    for n, x in enumerate(value.tolist()):
        if abs(x - last) > band or n - at >= longest:
            kept.append(n)
            last, at = x, n
    return np.array(sorted(set(kept)))


def by_lines(value, band, longest):
    """Ends of straight lines that keep within `band` of every value between."""
    kept, start, low, high = [0], 0, -np.inf, np.inf
    for n in range(1, len(value)):
        low = max(low, (value[n] - band - value[start]) / (n - start))
        high = min(high, (value[n] + band - value[start]) / (n - start))
        if low > high or n - start > longest:
            start = n - 1
            kept.append(start)
            low, high = value[n] - band - value[start], value[n] + band - value[start]
    return np.array(sorted(set(kept)))


@pytest.mark.parametrize("noise", [0.02, 0.1, 0.3])
@pytest.mark.parametrize("digits", [1, 3])
@pytest.mark.parametrize("seed", [1, 2])
def test_exceptions_and_lines_are_told_apart(noise, digits, seed):
    value = np.round(course(seed, noise=noise), digits)
    band = 0.6 if noise < 0.2 else 1.0
    for keep, habit in ((by_exception, "exception"), (by_lines, "lines")):
        at = keep(value, band, 40)
        assert habits_of(30.0 * at[:3000], value[at][:3000]).habit == habit


def test_the_band_of_exceptions_is_found():
    value = np.round(course(), 3)
    at = by_exception(value, 0.6, 40)
    assert habits_of(30.0 * at, value[at]).band == pytest.approx(0.6, abs=0.05)


def test_records_said_again_at_steady_times_are_held():
    value = np.round(course(), 3)
    at = by_exception(value, 0.6, 10**6)
    minute = np.arange(0, len(value), 2)
    held = value[at[np.searchsorted(at, minute, side="right") - 1]]
    assert habits_of(30.0 * minute, held).habit == "repeats"
    # Measured each time and written with one digit, values repeat too, but change by that digit.
    calm = np.round(100.0 + 0.05 * (course(noise=0.0)[minute] - 100.0), 1)
    assert habits_of(30.0 * minute, calm).habit == "steady"


def test_steady_readings_run_by_their_quantity():
    second = 60.0 * np.arange(2000)
    tag = look_of("x", second, course(size=2000))
    assert run_of([tag, tag], [None, LIME])[0][0] == "linear"
    assert run_of([tag, tag], [None, LIME])[1][0] == "step"


def test_a_quiet_tag_runs_as_its_neighbours_do():
    value = np.round(course(), 3)
    at = by_exception(value, 0.6, 18)
    loud = [look_of(f"loud {n}", 30.0 * at, value[at]) for n in range(3)]
    timed = np.arange(0, 20000, 18)
    quiet = look_of("quiet", 30.0 * timed, np.round(100.0 + 0.01 * (value[timed] - 100.0), 2))
    assert run_of([quiet], [None])[0][0] == "linear"
    assert run_of([*loud, quiet], [None] * 4)[3][0] == "step"


def test_too_few_readings_are_said_so():
    run, why = run_of([look_of("x", np.arange(5.0) * 60, np.arange(5.0))], [None])[0]
    assert run == "linear"
    assert "too few" in why
