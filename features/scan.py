"""First-order linear recurrence over long series without a loop over all minutes."""

from __future__ import annotations

import numpy as np

from features.numeric import FloatArray


def linear_recurrence(a: FloatArray, b: FloatArray, start: FloatArray | float) -> FloatArray:
    """Solve ``y[t] = a[t] * y[t-1] + b[t]`` with ``y[-1] = start``.

    Parameters
    ----------
    a : ndarray, shape (n,)
        Multiplier of each step [-], within [-1, 1] for a stable recurrence.
    b : ndarray, shape (n,) or (n, m)
        Input of each step [unit of the result]; one column per series.
    start : float or ndarray, shape (m,)
        Value before the first step [unit of the result].

    Returns
    -------
    ndarray, shape of `b`
        The series y.

    Raises
    ------
    ValueError
        If `a` and `b` differ in length.

    Notes
    -----
    Blocked scan: the series is cut into about sqrt(n) blocks that advance together, one step
    of all blocks per numpy call, each from zero; then the block ends are chained. No division,
    so multipliers of zero (a vessel flushed within a minute) do no harm.
    """
    if a.shape[0] != b.shape[0]:
        raise ValueError(
            f"linear_recurrence: a has {a.shape[0]} rows, b has {b.shape[0]}; give both the same"
        )
    if b.shape[0] == 0:
        return b.copy()
    rows = b.reshape(b.shape[0], -1)
    n, m = rows.shape
    size = int(np.ceil(np.sqrt(n)))
    blocks = -(-n // size)
    # Blocks lie along the second axis, so that each step below touches contiguous memory.
    multipliers = _in_blocks(a.reshape(n, 1), blocks, size, 1.0)
    values = _in_blocks(rows, blocks, size, 0.0)
    for step in range(1, size):
        values[step] += multipliers[step] * values[step - 1]
        multipliers[step] *= multipliers[step - 1]
    carry = np.empty((blocks, m))
    carry[0] = start
    for block in range(1, blocks):
        carry[block] = multipliers[-1, block - 1] * carry[block - 1] + values[-1, block - 1]
    values += multipliers * carry
    result = values.transpose(1, 0, 2).reshape(blocks * size, m)[:n]
    return result.reshape(b.shape)


def _in_blocks(rows: FloatArray, blocks: int, size: int, filler: float) -> FloatArray:
    """Copy to shape (size, blocks, m), padding the last block with `filler`."""
    n, m = rows.shape
    padded = np.full((blocks * size, m), filler)
    padded[:n] = rows
    return np.ascontiguousarray(padded.reshape(blocks, size, m).transpose(1, 0, 2))
