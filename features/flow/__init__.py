"""Juice followed through the station: residence, pH, heat, loss by zone."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from features.flow.expansion import as_fed
    from features.flow.filtrate import (
        FiltrateShare,
        filtrate_told,
        return_step,
        share_by_balance,
    )
    from features.flow.inferred import (
        TEMPERATURE_SD_K,
        TemperatureSource,
        temperature_source,
        zone_temperature_source,
    )
    from features.flow.minutes import (
        Derived,
        derive,
    )
    from features.flow.mud import (
        MUD_REL_SD,
        mud_told,
    )
    from features.flow.nominal import (
        souring_1_min,
    )
    from features.flow.probes import (
        probe_signal,
    )
    from features.flow.scan import (
        linear_recurrence,
    )
    from features.flow.settling import (
        VALID_DILUTION_PCT,
        dilution_pct,
        flocculant_mg_kg,
        overflow_velocity_m_h,
        settling_correction,
        settling_utilisation,
    )
    from features.flow.settling_own import (
        OwnSettling,
        own_settling,
    )
    from features.flow.transients import (
        EffectiveResidence,
        effective_residence,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
