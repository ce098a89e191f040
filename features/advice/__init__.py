"""Answers to two questions of a shift: standing juice, limed-juice pH."""

from features.advice.setpoint import Cost, Prices, Setpoint, USUAL_PH, advise
from features.advice.standing import Juice, LONGEST_H, Standing, TENTH_PCT, stand
