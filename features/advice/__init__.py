"""Answers to two questions of a shift: standing juice, limed-juice pH."""

from features.advice.setpoint import USUAL_PH, Cost, Prices, Setpoint, advise
from features.advice.settler import USUAL_RATE_M_H, SettlerLoad, settler_load
from features.advice.standing import LONGEST_H, TENTH_PCT, Juice, Standing, stand
