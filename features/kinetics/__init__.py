"""Inversion and destruction of sugars, acids made, and how surely they are known."""

from features.kinetics.acid import (
    BUFFER_MEQ_KG_PH,
    CAO_G_EQ,
    LN3,
    hexose_mmol_kg,
    ph_after_acid,
    ph_fall_1_h,
)
from features.kinetics.held import hold
from features.kinetics.kinetics import (
    INVERT_PER_SUCROSE,
    VUKOV_A,
    VUKOV_B_K,
    inversion_1_h,
    inversion_1_min,
    ph_at_process,
    ph_at_sample,
    rs_destruction_1_h,
    temp_factor,
)
from features.kinetics.loss import (
    State,
    concentration_ratio,
    inverted_pct,
    loss_factors,
    loss_kg_h,
    shapley_of_product,
    state_inversion_1_h,
)
from features.kinetics.prior import (
    Draws,
    Estimate,
    Prior,
    draw,
    estimate,
    log_sd_of_interval,
    published,
)
from features.kinetics.ranges import (
    BEYOND_COLUMNS,
    DENSITY,
    DESTRUCTION,
    INVERSION,
    RANGES,
    Range,
    beyond_ranges,
    beyond_words,
    together,
)
from features.kinetics.uncertainty import (
    Z90,
    InputErrors,
    LossError,
    LossState,
    loss_error,
    rate_per_kelvin,
)
