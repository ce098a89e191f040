"""Noises in which nothing is lost: what a search meets on an ordinary day, drawn by seed.

Nothing here is taken of the search that it judges. Every series has one value a minute [kg/h over
the standard deviation of the fast noise, unless said otherwise] and has no missing value. All but
the walk, whose levels never come back, are stationary. What a search accepts was made by chance.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter
from scipy.stats import norm, t

Series = NDArray[np.float64]

HOUR_MIN = 60
QUARTER_MIN = 15
#: Quarter-hours of a day.
DAY_QUARTERS = 96
#: Memory of the fast noise that others ride on (judgement) [min].
FAST_MIN = 45.0


@dataclass(frozen=True, slots=True)
class Noise:
    """One kind of noise.

    Attributes
    ----------
    words : str
        What it is like, in a few words.
    draw : callable
        From a generator and a number of minutes to the series, shape (minutes,).
    usual : float, optional
        Usual loss that the noise multiplies, in the unit of the series; None where it adds. A
        search knows it of every channel.
    """

    words: str
    draw: Callable[[np.random.Generator, int], Series]
    usual: float | None = None


def draw_noise(name: str, seed: int, minutes: int) -> Series:
    """Draw one series of a noise, always the same for the same name, seed and length.

    Parameters
    ----------
    name : str
        Key of `NOISES`.
    seed : int
        At least 0; two noises of one seed share no random numbers.
    minutes : int
        Length, at least 1.

    Returns
    -------
    ndarray, shape (minutes,)

    Raises
    ------
    KeyError
        If no noise has this name.
    """
    rng = np.random.default_rng([seed, zlib.crc32(name.encode())])
    return NOISES[name].draw(rng, minutes)


def ou(rng: np.random.Generator, minutes: int, memory_min: float) -> Series:
    """Ornstein-Uhlenbeck noise of unit variance: autocorrelation ``exp(-lag / memory_min)``.

    Sampled exactly (G. E. Uhlenbeck & L. S. Ornstein, Phys. Rev. 36 (1930) 823-841; memory).

    Parameters
    ----------
    rng : Generator
    minutes : int
    memory_min : float
        Lag at which the autocorrelation has fallen to 1/e [min], above 0.
    """
    return ar1(rng, minutes, math.exp(-1.0 / memory_min))


def ou_long_run_variance(memory_min: float) -> float:
    """Variance of a long sum of `ou` noise, per minute: ``(1 + phi) / (1 - phi)``."""
    phi = math.exp(-1.0 / memory_min)
    return (1.0 + phi) / (1.0 - phi)


def ar1(rng: np.random.Generator, n: int, phi: float) -> Series:
    """First-order autoregression of unit variance: autocorrelation ``phi ** lag``."""
    start = [phi * rng.standard_normal()]
    fresh = rng.standard_normal(n)
    return np.asarray(lfilter([math.sqrt(1.0 - phi**2)], [1.0, -phi], fresh, zi=start)[0])


def ar2(rng: np.random.Generator, n: int, coefficients: tuple[float, float]) -> Series:
    """Second-order autoregression of unit variance: ``x = a x[-1] + b x[-2] + fresh noise``.

    The variance is the closed form of G. E. P. Box & G. M. Jenkins, Time Series Analysis (1970),
    section 3.2 (memory). What the start from rest leaves is run off first.
    """
    a, b = coefficients
    settle = math.ceil(20.0 / (1.0 - math.sqrt(abs(b))))
    variance = (1.0 - b) / ((1.0 + b) * ((1.0 - b) ** 2 - a**2))
    fresh = rng.standard_normal(n + settle)
    return np.asarray(lfilter([1.0], [1.0, -a, -b], fresh)[settle:] / math.sqrt(variance))


def cycle_coefficients(period: float, radius: float) -> tuple[float, float]:
    """Coefficients of the second-order autoregression whose spectrum peaks at a period.

    From ``cos w = a (b - 1) / (4 b)``, the peak of its spectrum (Box & Jenkins as above; memory).

    Parameters
    ----------
    period : float
        Of the peak [readings], above 2.
    radius : float
        Modulus of the roots, under 1: the cycle is forgotten within ``-1 / ln(radius)`` readings.
    """
    b = -(radius**2)
    return 4.0 * b * math.cos(2.0 * math.pi / period) / (b - 1.0), b


def arfima(rng: np.random.Generator, n: int, d: float) -> Series:
    """Long memory, ARFIMA(0, d, 0), of unit variance: drawn exactly from its autocorrelation.

    Circulant embedding (R. B. Davies & D. S. Harte, Biometrika 74 (1987) 95-101; memory).

    Parameters
    ----------
    rng : Generator
    n : int
    d : float
        Order of differencing, above 0 and under 0.5.
    """
    rho = arfima_acf(n + 1, d)
    size = 2 * n
    spectrum = np.fft.rfft(np.concatenate([rho, rho[-2:0:-1]])).real
    # Rounding may leave a hair below zero; for these d the embedding itself is never negative.
    scale = np.sqrt(np.clip(spectrum, 0.0, None) / size)
    weight = rng.standard_normal(n + 1) + 1j * rng.standard_normal(n + 1)
    weight[[0, -1]] = weight[[0, -1]].real * math.sqrt(2.0)
    return np.asarray(np.fft.irfft(scale * weight, size)[:n] * size / math.sqrt(2.0))


def arfima_acf(lags: int, d: float) -> Series:
    """Autocorrelation of ARFIMA(0, d, 0) at lags 0 to ``lags - 1``.

    ``rho(k) = rho(k - 1) (k - 1 + d) / (k - d)`` (J. R. M. Hosking, Biometrika 68 (1981) 165-176;
    memory).
    """
    k = np.arange(1, lags)
    return np.concatenate([[1.0], np.cumprod((k - 1 + d) / (k - d))])


def held_levels(rng: np.random.Generator, minutes: int, sd: float, mean_h: float) -> Series:
    """Levels moved by hand: each drawn anew, and held for a time that has no memory.

    Autocorrelation ``exp(-lag / mean_h)``: two moments share a level or have nothing in common.

    Parameters
    ----------
    rng : Generator
    minutes : int
    sd : float
        Of the levels.
    mean_h : float
        Mean time between two moves [h].
    """
    moved = rng.random(minutes) < -math.expm1(-1.0 / (mean_h * HOUR_MIN))
    levels = sd * rng.standard_normal(minutes + 1)
    return np.asarray(levels[np.cumsum(moved)])


def shift_levels(rng: np.random.Generator, minutes: int, sd: float, shift_h: float = 8.0) -> Series:
    """Levels drawn anew at every change of shift [h], beginning with one."""
    length = round(shift_h * HOUR_MIN)
    levels = sd * rng.standard_normal(math.ceil(minutes / length))
    return np.asarray(np.repeat(levels, length)[:minutes])


def walk(rng: np.random.Generator, minutes: int, sd_per_day: float) -> Series:
    """Levels that never come back: a random walk, whose change over t days has a variance of t.

    Parameters
    ----------
    rng : Generator
    minutes : int
    sd_per_day : float
        Standard deviation of its change from a moment to the same one a day later.
    """
    step = sd_per_day / math.sqrt(24.0 * HOUR_MIN)
    return np.asarray(np.cumsum(step * rng.standard_normal(minutes)))


def day_spreads(rng: np.random.Generator, minutes: int, times: float) -> Series:
    """Spread of each day: 1 or `times`, drawn with equal chance."""
    length = 24 * HOUR_MIN
    wild = rng.random(math.ceil(minutes / length)) < 0.5
    return np.asarray(np.repeat(np.where(wild, times, 1.0), length)[:minutes])


def day_cycle(rng: np.random.Generator, minutes: int, amplitude: float) -> Series:
    """One wave a day, always alike: of the weather or of who is on shift; it begins anywhere."""
    phase = rng.uniform(0.0, 2.0 * math.pi)
    per_min = 2.0 * math.pi / (24.0 * HOUR_MIN)
    return np.asarray(amplitude * np.sin(per_min * np.arange(minutes) + phase))


def deadband(values: Series, band: float, step: float) -> Series:
    """What a recorder shows: a value rounded to `step`, kept until it is off by `band`."""
    shown = np.empty(len(values))
    last = math.inf
    for i, value in enumerate(values.tolist()):
        if abs(value - last) >= band:
            last = round(value / step) * step
        shown[i] = last
    return shown


def _hand(rng: np.random.Generator, minutes: int, sd: float) -> Series:
    return ou(rng, minutes, FAST_MIN) + held_levels(rng, minutes, sd, 12.0)


def _shifts(rng: np.random.Generator, minutes: int, sd: float) -> Series:
    return ou(rng, minutes, FAST_MIN) + shift_levels(rng, minutes, sd)


def _walk(rng: np.random.Generator, minutes: int, sd_per_day: float) -> Series:
    return ou(rng, minutes, FAST_MIN) + walk(rng, minutes, sd_per_day)


def _days(rng: np.random.Generator, minutes: int, times: float) -> Series:
    return ou(rng, minutes, FAST_MIN) * day_spreads(rng, minutes, times)


def _mill(rng: np.random.Generator, minutes: int) -> Series:
    """Fast noise, levels moved by hand and a cycle of the day, as an ordinary mill has at once."""
    return _hand(rng, minutes, 0.5) + day_cycle(rng, minutes, 0.5)


def _variance(rng: np.random.Generator, minutes: int, log_sd: float) -> Series:
    """Fast noise whose log standard deviation wanders by `log_sd` with a memory of a day."""
    slow = ou(rng, minutes, 24.0 * HOUR_MIN)
    return np.asarray(ou(rng, minutes, FAST_MIN) * np.exp(log_sd * slow))


def _acid(rng: np.random.Generator, minutes: int, ph_sd: float) -> Series:
    """Inversion over the usual, first order in acid: ``10 ** -(pH - usual) - 1`` [usual losses]."""
    return np.asarray(10.0 ** (-ph_sd * ou(rng, minutes, 6.0 * HOUR_MIN)) - 1.0)


def _deadband(rng: np.random.Generator, minutes: int) -> Series:
    return deadband(ou(rng, minutes, FAST_MIN), band=0.5, step=0.25)


def _student(rng: np.random.Generator, minutes: int) -> Series:
    """Student's t with three degrees of freedom at every moment, unit variance, fast memory."""
    ranks = norm.cdf(ou(rng, minutes, FAST_MIN))
    return np.asarray(t.ppf(ranks, 3) / math.sqrt(3.0))


def _by_quarter(
    rng: np.random.Generator, minutes: int, draw: Callable[[np.random.Generator, int], Series]
) -> Series:
    """A series of quarter-hour means, each shown for its fifteen minutes."""
    means = draw(rng, math.ceil(minutes / QUARTER_MIN))
    return np.asarray(np.repeat(means, QUARTER_MIN)[:minutes])


def _quarters(draw: Callable[[np.random.Generator, int], Series]) -> Callable[..., Series]:
    return partial(_by_quarter, draw=draw)


#: A cycle of a day that is forgotten within a day (judgement).
_DAILY = cycle_coefficients(DAY_QUARTERS, math.exp(-1.0 / DAY_QUARTERS))

#: Kinds of noise by name. How strong and how slow they are is judgement: nobody published what the
#: residuals of a mill's channels look like.
NOISES: dict[str, Noise] = {
    "ou_45min": Noise("memory 45 min", partial(ou, memory_min=FAST_MIN)),
    "ou_6h": Noise("memory 6 h", partial(ou, memory_min=360.0)),
    "ou_12h": Noise("memory 12 h", partial(ou, memory_min=720.0)),
    "ou_24h": Noise("memory 24 h", partial(ou, memory_min=1440.0)),
    "hand_0.5": Noise("levels moved by hand each 12 h, 0.5 sd", partial(_hand, sd=0.5)),
    "hand_1": Noise("levels moved by hand each 12 h, 1 sd", partial(_hand, sd=1.0)),
    "shifts_0.5": Noise("steps at each shift of 8 h, 0.5 sd", partial(_shifts, sd=0.5)),
    "shifts_1": Noise("steps at each shift of 8 h, 1 sd", partial(_shifts, sd=1.0)),
    "variance_0.5": Noise("slowly varying variance, log sd 0.5", partial(_variance, log_sd=0.5)),
    "variance_1": Noise("slowly varying variance, log sd 1", partial(_variance, log_sd=1.0)),
    "days_x3": Noise("variance by the day, sd 1 or 3", partial(_days, times=3.0)),
    "acid_0.1": Noise("10^-pH, pH sd 0.1, memory 6 h", partial(_acid, ph_sd=0.1), 1.0),
    "acid_0.2": Noise("10^-pH, pH sd 0.2, memory 6 h", partial(_acid, ph_sd=0.2), 1.0),
    "deadband": Noise("quantised, deadband 0.5 sd", _deadband),
    "arfima_0.2": Noise("long memory, d 0.2", _quarters(partial(arfima, d=0.2))),
    "arfima_0.3": Noise("long memory, d 0.3", _quarters(partial(arfima, d=0.3))),
    "arfima_0.4": Noise("long memory, d 0.4", _quarters(partial(arfima, d=0.4))),
    "ar1_0.95": Noise("AR(1) 0.95 by the quarter-hour", _quarters(partial(ar1, phi=0.95))),
    "ar1_0.99": Noise("AR(1) 0.99 by the quarter-hour", _quarters(partial(ar1, phi=0.99))),
    "ar1_0.95_min": Noise("AR(1) 0.95 by the minute", partial(ar1, phi=0.95)),
    "ar1_0.99_min": Noise("AR(1) 0.99 by the minute", partial(ar1, phi=0.99)),
    "ar2_day": Noise("AR(2) with a daily cycle", _quarters(partial(ar2, coefficients=_DAILY))),
    "student_t3": Noise("Student t, 3 degrees of freedom", _student),
    "walk_1": Noise("random walk, 1 sd a day", partial(_walk, sd_per_day=1.0)),
    "mill": Noise("hands 0.5 sd and a day's cycle of 0.5 sd", _mill),
}
