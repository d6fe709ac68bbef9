"""Faults put into a simulated record, each known by kind, head and time: truth to judge detectors by."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from traywarden.domain.series import FloatArray, IntArray

POWER_UP_C = 85.0
DISCONNECTED_C = -127.0
WATER_V_BELOW_WET = 0.12
"""A head in plain water reads beyond container capacity (of the usual size, no source)."""


class FaultKind(StrEnum):
    POWER_UP = "power-up value"  # 85 °C at single instants
    DISCONNECTED = "disconnected"  # −127 °C throughout
    SPIKES = "spikes"  # single volts far off, `size` [V]
    STUCK = "stuck"  # volts and degrees repeat
    PULLED_OUT = "pulled out of the mix"  # both sensors in the air of the place
    IN_SUN = "warmed by direct sun"  # `size` [°C] warmer at 800 W/m²
    IN_WATER = "fallen in water"  # the saucer, the bath
    SWAPPED = "swapped with another head"  # readings of `other` and this one exchanged
    SILENT = "sent nothing"


@dataclass(frozen=True, slots=True)
class Fault:
    """From start (inclusive) to end (exclusive), of one head; `other` for swapped heads."""

    kind: FaultKind
    head: int
    start_s: float
    end_s: float
    size: float = 0.0
    other: int = -1


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """What a head finds outside its mix, instants × heads."""

    air_c: FloatArray
    sun_w_m2: FloatArray
    dry_v: FloatArray  # one per head
    wet_v: FloatArray


def with_faults(
    time_s: FloatArray,
    soil_temp_c: FloatArray,
    moisture_v: FloatArray,
    around: Surroundings,
    faults: Sequence[Fault],
    random: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Readings (instants × heads) as they arrive with the faults in them; new arrays, NaN where nothing came.

    Where faults overlap on one head, the later in the list lies over the earlier.
    """
    temps, volts = soil_temp_c.copy(), moisture_v.copy()
    for fault in faults:
        rows = np.flatnonzero((time_s >= fault.start_s) & (time_s < fault.end_s))
        if rows.size:
            _strike(fault, rows, temps, volts, around, random)
    return temps, volts


def _strike(
    fault: Fault,
    rows: IntArray,
    temps: FloatArray,
    volts: FloatArray,
    around: Surroundings,
    random: np.random.Generator,
) -> None:
    head, n = fault.head, rows.size
    match fault.kind:
        case FaultKind.POWER_UP:
            temps[rows, head] = POWER_UP_C
        case FaultKind.DISCONNECTED:
            temps[rows, head] = DISCONNECTED_C
        case FaultKind.SPIKES:
            every = rows[:: max(2, n // 5)]
            volts[every, head] += fault.size * random.choice([-1.0, 1.0], every.size)
        case FaultKind.STUCK:
            temps[rows, head], volts[rows, head] = temps[rows[0], head], volts[rows[0], head]
        case FaultKind.PULLED_OUT:
            sunny_c = 4.0 * around.sun_w_m2[rows, head] / 800.0  # a dark housing in the sun
            temps[rows, head] = around.air_c[rows, head] + sunny_c + random.normal(0, 0.1, n)
            volts[rows, head] = around.dry_v[head] + 0.02 + random.normal(0, 0.004, n)
        case FaultKind.IN_SUN:
            temps[rows, head] += fault.size * around.sun_w_m2[rows, head] / 800.0
        case FaultKind.IN_WATER:
            volts[rows, head] = around.wet_v[head] - WATER_V_BELOW_WET + random.normal(0, 0.003, n)
        case FaultKind.SWAPPED:
            for values in (temps, volts):
                mine = values[rows, head].copy()
                values[rows, head], values[rows, fault.other] = values[rows, fault.other], mine
        case FaultKind.SILENT:
            temps[rows, head] = volts[rows, head] = np.nan
