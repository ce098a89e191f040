"""Acid made by the destruction of reducing sugars, and the pH it costs.

Destroyed hexose leaves acids behind, so hot juice slowly sours while it stands. The rate of
destruction triples per pH unit, which gives the fall of pH over time a closed form.
"""

from __future__ import annotations

from features.base import Numeric, exp, ln
from features.kinetics.kinetics import rs_destruction_1_h

#: Acid made per hexose destroyed [mol/mol]: one to two (estimate).
ACID_PER_HEXOSE = 1.4
#: Acid that lowers the pH of juice by one [meq/kg/pH]; computed, see `buffer_from_lime_meq_kg_ph`.
BUFFER_MEQ_KG_PH = 8.0
#: Juice to which that capacity belongs [% Brix]; acids and buffers thicken with it (estimate).
BUFFER_BRIX_PCT = 14.5
#: Molar mass of glucose and fructose [g/mol].
HEXOSE_G_MOL = 180.156
#: Equivalent mass of lime, CaO [g/eq].
CAO_G_EQ = 56.077 / 2.0
#: Destruction triples per pH unit (common practice: 1 and 3 %/h at pH 7 and 8).
LN3 = 1.0986122886681098


def hexose_mmol_kg(brix_pct: Numeric, purity_pct: Numeric, rs_per_sucrose_pct: Numeric) -> Numeric:
    """Reducing sugars in juice, as hexose.

    Parameters
    ----------
    brix_pct, purity_pct : float, ndarray or polars.Expr
        Dissolved solids [% by mass] and the sucrose in them [%].
    rs_per_sucrose_pct : float, ndarray or polars.Expr
        Reducing sugars per 100 sucrose [%].

    Returns
    -------
    float, ndarray or polars.Expr
        Hexose [mmol/kg juice].
    """
    return brix_pct * purity_pct * rs_per_sucrose_pct / HEXOSE_G_MOL


def buffer_from_lime_meq_kg_ph(
    lime_kg_t_cane: Numeric,
    ph_mixed: Numeric = 5.2,
    ph_limed: Numeric = 7.5,
    juice_t_t_cane: Numeric = 1.1,
) -> Numeric:
    """Buffer capacity of juice from the lime it takes.

    Parameters
    ----------
    lime_kg_t_cane : float, ndarray or polars.Expr
        Lime used, as CaO [kg/t cane].
    ph_mixed, ph_limed : float, ndarray or polars.Expr
        pH before and after liming [-], the second above the first.
    juice_t_t_cane : float, ndarray or polars.Expr
        Mixed juice per cane [t/t]; 0.95-1.15 (memory).

    Returns
    -------
    float, ndarray or polars.Expr
        Mean capacity between the two pH [meq/kg juice/pH].

    Notes
    -----
    Lime use of 0.50-0.64 kg/t cane (Eggleston 2003, confirmed; "lime" there, taken as CaO) gives
    7.0 to 9.0, and 8 in the middle (computed). The capacity near pH 7 alone may differ from that
    mean, and lime bound in phosphate counts in it. Called by the tests alone: it shows where
    `BUFFER_MEQ_KG_PH` comes from, and a mill that knows its lime can set its own by it.
    """
    base_meq_kg = 1000.0 * lime_kg_t_cane / juice_t_t_cane / CAO_G_EQ
    return base_meq_kg / (ph_limed - ph_mixed)


def ph_fall_1_h(
    ph_cold: Numeric,
    temp_degc: Numeric,
    hexose: Numeric,
    rate_ph7_1_h: Numeric = 0.01,
    acid_per_hexose: Numeric = ACID_PER_HEXOSE,
    buffer_meq_kg_ph: Numeric = BUFFER_MEQ_KG_PH,
) -> Numeric:
    """Rate at which juice sours by the destruction of its reducing sugars.

    Parameters
    ----------
    ph_cold : float, ndarray or polars.Expr
        pH of a cooled sample [-], 6 to 9.
    temp_degc : float, ndarray or polars.Expr
        Juice temperature [degC], 80 to 140.
    hexose : float, ndarray or polars.Expr
        Reducing sugars [mmol hexose/kg juice], see `hexose_mmol_kg`.
    rate_ph7_1_h : float, ndarray or polars.Expr
        Destruction at pH 7 and 97 degC [1/h]; 0.01 is common practice.
    acid_per_hexose : float, ndarray or polars.Expr
        Acid made per hexose destroyed [mol/mol]; 1 to 2 (estimate).
    buffer_meq_kg_ph : float, ndarray or polars.Expr
        Buffer capacity [meq/kg/pH].

    Returns
    -------
    float, ndarray or polars.Expr
        Fall of pH [1/h], positive; 0.05 in ordinary juice at pH 7 and 97 degC.

    Notes
    -----
    Alkaline destruction ends in acids, their kinds little changed by heat: de Bruijn 1986
    (confirmed).
    """
    destroyed = rs_destruction_1_h(ph_cold, temp_degc, rate_ph7_1_h) * hexose
    return destroyed * acid_per_hexose / buffer_meq_kg_ph


def ph_after_acid(ph_start: Numeric, fall_at_ph7: Numeric) -> Numeric:
    """Lower a pH by the acid made meanwhile, slower as it falls.

    Parameters
    ----------
    ph_start : float, ndarray or polars.Expr
        pH of a cooled sample at the start [-], 6 to 9.
    fall_at_ph7 : float, ndarray or polars.Expr
        Time integral of `ph_fall_1_h` taken at pH 7 throughout [-], not negative.

    Returns
    -------
    float, ndarray or polars.Expr
        pH at the end [-].

    Notes
    -----
    With a rate of r 3**(pH - 7) at constant reducing sugars, 3**(7 - pH) grows by ln 3 times the
    integral of r: exact whatever the temperature did. Reducing sugars change by about 1 %/h.
    """
    return ph_start - ln(1.0 + LN3 * fall_at_ph7 * exp(LN3 * (ph_start - 7.0))) / LN3
