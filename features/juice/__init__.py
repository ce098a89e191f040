"""Properties of juice, water and steam."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from features.juice.boiling import ATMOSPHERE_KPA, boiling_degc
    from features.juice.juice import (
        density_kg_m3,
        sucrose_content_kg_m3,
        viscosity_mpa_s,
        water_content_g_ml,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
