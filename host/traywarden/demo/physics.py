"""What sun, sky, wind and water do to a tray: published formulas and constants, each with its source.

For the simulator only; nothing that answers a grower rests on these. Marked “from memory” where the source
itself was not seen.
"""

import numpy as np

from traywarden.domain.psychrometrics import saturation_vapour_pressure_kpa
from traywarden.domain.series import FloatArray

STEFAN_BOLTZMANN_W_M2_K4 = 5.670374e-8  # CODATA 2018
ZERO_C_K = 273.15
VAPORISATION_J_KG = 2.45e6  # FAO-56, annex 3
FUSION_J_M3 = 3.34e8  # melting of ice, per m³ of water; handbook value, from memory
PSYCHROMETRIC_KPA_K = 0.0674  # FAO-56, equation 8 at 101.3 kPa
WATER_J_M3_K = 4.18e6  # de Vries 1963 (heat capacities by volume of water, organic and mineral matter)
ORGANIC_J_M3_K = 2.51e6
MINERAL_J_M3_K = 1.92e6
EMISSIVITY = 0.95  # moist soil; from memory
FREEZING_SPAN_C = 0.5
"""Water in a fine-pored mix freezes over some tenths of a degree, not at a point (no source for the span)."""


def sky_w_m2(air_c: FloatArray, vapour_kpa: FloatArray, cloud: FloatArray) -> FloatArray:
    """Longwave radiation from the sky.

    ε = 1.24·(e/T)^(1/7) for a clear sky, e in hPa and T in K (Brutsaert 1975); with cloud c,
    ε·(1 − 0.84 c) + 0.84 c (Unsworth & Monteith 1975).
    """
    air_k = air_c + ZERO_C_K
    clear = 1.24 * (10 * vapour_kpa / air_k) ** (1 / 7)
    emissivity = clear * (1 - 0.84 * cloud) + 0.84 * cloud
    return np.asarray(emissivity * STEFAN_BOLTZMANN_W_M2_K4 * air_k**4)


def black_w_m2(temp_c: FloatArray) -> FloatArray:
    """What a black body radiates (Stefan–Boltzmann)."""
    return np.asarray(STEFAN_BOLTZMANN_W_M2_K4 * (temp_c + ZERO_C_K) ** 4)


def clear_sun_w_m2(elevation_deg: FloatArray) -> FloatArray:
    """Sun on a level surface under a clear sky: 1098·cos z·exp(−0.059/cos z) (Haurwitz 1945)."""
    height = np.sin(np.radians(np.maximum(elevation_deg, 0.0)))
    safe = np.maximum(height, 1e-3)
    return np.asarray(np.where(height > 0, 1098.0 * height * np.exp(-0.059 / safe), 0.0))


def cloudy(sun_w_m2: FloatArray, cloud: FloatArray) -> FloatArray:
    """What is left of the clear sky's sun: 1 − 0.75·c^3.4 (Kasten & Czeplak 1980)."""
    return np.asarray(sun_w_m2 * (1 - 0.75 * cloud**3.4))


def convection_w_m2_k(wind_m_s: FloatArray) -> FloatArray:
    """Between a flat surface and moving air: 2.8 + 3.0·v (Watmuff, Charters & Proctor 1977; from memory)."""
    return np.asarray(2.8 + 3.0 * wind_m_s)


def saturation_slope_kpa_k(temp_c: FloatArray) -> FloatArray:
    """Slope of the saturation vapour pressure (FAO-56, equation 13)."""
    return np.asarray(4098.0 * saturation_vapour_pressure_kpa(temp_c) / (temp_c + 237.3) ** 2)


def wetness(
    water_m3_m3: FloatArray, residual_m3_m3: FloatArray, stage_one_ends_m3_m3: FloatArray
) -> FloatArray:
    """How much of what the air could take the mix can give, 0 to 1.

    Stage one: all of it. Stage two: falling in a straight line to none at the residual, as FAO-56's
    Kr = (TEW − De)/(TEW − REW) (equation 74) does with the water that is gone.
    """
    return np.asarray(
        np.clip((water_m3_m3 - residual_m3_m3) / (stage_one_ends_m3_m3 - residual_m3_m3), 0.0, 1.0)
    )
