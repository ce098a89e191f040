"""Answers to two questions of a shift: standing juice, limed-juice pH."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from features.advice.setpoint import USUAL_PH, Cost, Prices, Setpoint, advise
    from features.advice.settler import USUAL_RATE_M_H, SettlerLoad, settler_load
    from features.advice.standing import LONGEST_H, TENTH_PCT, Juice, Standing, stand
else:
    __getattr__ = handed_out(__name__, __file__)
