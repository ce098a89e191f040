"""Simulated mills with planted losses through every stage, and their marks; noise alone too."""

from pipeline.proof.null_card import RATES, NullPlan, null_json, null_lines
from pipeline.proof.one_mill import FIXED_LIMITS, LISTED, THREE_SIGMA, MillMarks, Plan
from pipeline.proof.scorecard import as_json, mark_mills, proof_seeds
