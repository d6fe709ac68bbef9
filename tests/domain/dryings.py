"""Dry-downs made up for tests: by the hour, with a known law."""

import numpy as np

from traywarden.domain.drying import Drying, expected_demand
from traywarden.domain.series import FloatArray

START_S = 1_750_032_000.0  # 16 June 2025, 0:00 UTC
RESIDUAL, WET = 0.05, 0.50


def daily_demand(hours: int, strength: float = 1.0) -> FloatArray:
    """Nothing by night, most at noon; a day sums up to 24 usual hours for a strength of one."""
    shape = np.maximum(0.0, np.sin((np.arange(hours) % 24 - 6) / 12 * np.pi))
    return np.asarray(strength * np.pi * shape)


def drying(
    hours: int,
    tau_h: float,
    *,
    share: float = 1.0,
    strength: float = 1.0,
    start_s: float = START_S,
    wet: float = WET,
    noise: float = 0.0,
    swing: float = 0.0,
    seed: int = 0,
) -> Drying:
    """θ = 0.05 + (wet − 0.05)·exp(−clock/τ), the clock running with the demand for `share`, read with noise
    and a swing [m³/m³ per °C] of a soil that is warmest at 15 o'clock. The days before were like it."""
    demand = daily_demand(hours, strength)
    pace = 1 - share + share * demand
    clock = np.cumsum(pace) - pace / 2
    temp = 18 + 6 * np.sin((np.arange(hours) % 24 - 9) / 24 * 2 * np.pi)
    true = RESIDUAL + (wet - RESIDUAL) * np.exp(-clock / tau_h)
    scatter = np.random.default_rng(seed).normal(0, noise, hours)
    hour_s = start_s + 3600.0 * np.arange(hours, dtype=np.float64)
    ahead = expected_demand(np.concatenate((daily_demand(72, strength), demand)))[72:]
    return Drying(hour_s, true + swing * (temp - 18) + scatter, temp, demand, ahead)


def cut(whole: Drying, hours: int) -> Drying:
    """Its first hours alone."""
    return Drying(*(getattr(whole, name)[:hours] for name in whole.__dataclass_fields__))
