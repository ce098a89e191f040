"""Simulated mills with planted losses through every stage, and their marks."""

from pipeline.proof.scorecard import (
    LISTED,
    THREE_SIGMA,
    MillMarks,
    Plan,
    as_json,
    mark_mills,
    proof_seeds,
)
