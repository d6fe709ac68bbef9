"""What heads make of the truth: volts and degrees with noise, steps, temperature and drift, each its own.

The same model serves one instant (the demo) and a whole season at once. Sizes are those of cheap sensors: a
DS18B20 is within 0.5 °C and reads in steps of 0.0625 °C (datasheet); the temperature effect of capacitive
sensors differs in sign from one to the next (MethodsX 2024, doi 10.1016/j.mex.2024.103100).
"""

from dataclasses import dataclass

import numpy as np

from traywarden.domain.series import FloatArray

DS18B20_STEP_C = 0.0625
AT_C = 20.0
"""Temperature at which the moisture volts are as calibrated."""


@dataclass(frozen=True, slots=True, eq=False)
class HeadSensors:
    """The heads of a garden: one value for each head in every array.

    Volts fall from `dry_v` (no water) to `wet_v` (container capacity), bent by `bend` (0: straight; how far
    the middle of the curve lies off the straight line, as a part of the span).
    `volts_per_c`: what a degree does to the volts, of either sign. `drift_v_per_week`: ageing, water getting
    in.
    """

    dry_v: FloatArray
    wet_v: FloatArray
    capacity_m3_m3: FloatArray
    bend: FloatArray
    volts_per_c: FloatArray
    drift_v_per_week: FloatArray
    noise_v: FloatArray
    offset_c: FloatArray
    noise_c: FloatArray
    step_v: float = 0.001

    @property
    def m3_m3_per_v(self) -> FloatArray:
        """What a volt stands for in a straight calibration through dry and container capacity."""
        return np.asarray(self.capacity_m3_m3 / (self.wet_v - self.dry_v))

    @property
    def m3_m3_per_c(self) -> FloatArray:
        """What a degree does to the moisture such a calibration gives."""
        return np.asarray(self.volts_per_c * self.m3_m3_per_v)

    @property
    def drift_m3_m3_per_week(self) -> FloatArray:
        return np.asarray(self.drift_v_per_week * self.m3_m3_per_v)

    def volts(
        self,
        liquid_m3_m3: FloatArray,
        temp_c: FloatArray,
        since_s: FloatArray | float,
        random: np.random.Generator,
    ) -> FloatArray:
        """Moisture volts; arrays of heads, or of instants × heads (`since_s` then as a column)."""
        part = liquid_m3_m3 / self.capacity_m3_m3
        bent = part + 4 * self.bend * part * (1 - part)
        volts = self.dry_v + (self.wet_v - self.dry_v) * bent
        volts = volts + self.volts_per_c * (temp_c - AT_C) + self.drift_v_per_week * since_s / (7 * 86_400)
        volts = volts + random.normal(0.0, 1.0, volts.shape) * self.noise_v
        return np.asarray(np.round(volts / self.step_v) * self.step_v)

    def degrees(self, temp_c: FloatArray, random: np.random.Generator) -> FloatArray:
        """Soil temperature as a DS18B20 reads it."""
        read_c = temp_c + self.offset_c + random.normal(0.0, 1.0, temp_c.shape) * self.noise_c
        return np.asarray(np.round(read_c / DS18B20_STEP_C) * DS18B20_STEP_C)


def drawn_sensors(
    capacity_m3_m3: FloatArray,
    random: np.random.Generator,
    *,
    volts_per_c: float = 0.0025,
    drift_v_per_week: float = 0.0,
    noise_v: float = 0.003,
    bend: float = 0.0,
) -> HeadSensors:
    """Heads of a batch: each a little different; sizes given are standard deviations, noise is as given."""
    n = capacity_m3_m3.size
    return HeadSensors(
        dry_v=random.normal(2.60, 0.04, n),
        wet_v=random.normal(1.30, 0.07, n),
        capacity_m3_m3=capacity_m3_m3,
        bend=random.normal(0.0, 1.0, n) * bend,
        volts_per_c=random.normal(0.0, 1.0, n) * volts_per_c,
        drift_v_per_week=random.normal(0.0, 1.0, n) * drift_v_per_week,
        noise_v=np.full(n, noise_v),
        offset_c=np.clip(random.normal(0.0, 0.2, n), -0.5, 0.5),
        noise_c=np.full(n, 0.04),
    )
