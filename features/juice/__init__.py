"""Properties of juice, water and steam."""

from features.juice.boiling import ATMOSPHERE_KPA, boiling_degc
from features.juice.juice import (
    density_kg_m3,
    sucrose_content_kg_m3,
    viscosity_mpa_s,
    water_content_g_ml,
)
