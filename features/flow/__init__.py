"""Juice followed through the station: residence, pH, heat, loss by zone."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from features.flow.minutes import derive
    from features.flow.nominal import souring_1_min
    from features.flow.probes import probe_signal
    from features.flow.settling import (
        overflow_velocity_m_h,
        settling_correction,
        settling_utilisation,
    )
    from features.flow.transients import EffectiveResidence, effective_residence
else:
    __getattr__ = handed_out(__name__, __file__)
