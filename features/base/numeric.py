"""One spelling of exp and log for floats, numpy arrays and polars expressions."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
import polars as pl
from numpy.typing import NDArray

#: A float, a numpy array or a polars expression. The formulas only use arithmetic, so one body
#: serves all three; a union type would make every ``a * b`` of mixed kinds a type error.
Numeric: TypeAlias = Any
FloatArray: TypeAlias = NDArray[np.float64]
BoolArray: TypeAlias = NDArray[np.bool_]

KELVIN = 273.15
LN10 = 2.302585092994046
#: Molar gas constant [J/mol/K], CODATA 2018 (exact).
GAS_CONSTANT = 8.31446261815324


def exp(value: Numeric) -> Numeric:
    """Raise e to the power `value` for a float, an array or an expression.

    Parameters
    ----------
    value : float, ndarray or polars.Expr
        Exponent [-].

    Returns
    -------
    float, ndarray or polars.Expr
        Same kind and shape as `value`.
    """
    if isinstance(value, pl.Expr):
        return value.exp()
    return np.exp(value)


def ln(value: Numeric) -> Numeric:
    """Natural logarithm of a positive number, as `exp` takes and gives it."""
    if isinstance(value, pl.Expr):
        return value.log()
    return np.log(value)


def log10(value: Numeric) -> Numeric:
    """Decimal logarithm of a positive number, as `exp` takes and gives it."""
    if isinstance(value, pl.Expr):
        return value.log10()
    return np.log10(value)


def exp10(value: Numeric) -> Numeric:
    """10 to the power `value`, as `exp` takes and gives it."""
    return exp(LN10 * value)


def at_least(value: Numeric, floor: float) -> Numeric:
    """Raise what lies below `floor` to it, as `exp` takes and gives it."""
    if isinstance(value, pl.Expr):
        return value.clip(lower_bound=floor)
    return np.maximum(value, floor)
