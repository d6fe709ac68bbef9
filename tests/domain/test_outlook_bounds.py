"""The bounds beside the figures of the outlook, where hand and eye can tell what they must be."""

import numpy as np
import pytest

from tests.figures.outlook_bounds import bounds
from traywarden.domain.backtest import History
from traywarden.domain.drying import Drying
from traywarden.domain.series import FloatArray


def history(moisture: FloatArray) -> History:
    hours = np.arange(moisture.size, dtype=np.float64)
    drying = Drying(hours * 3600, moisture, hours, np.ones(hours.size), np.ones((hours.size, 24)))
    return History("made up", "mix", [drying])


def test_an_even_fall_read_without_steps_leaves_nothing_to_miss() -> None:
    found = bounds(history(0.40 - 0.01 / 24 * np.arange(480.0)), step_m3_m3=0.01)
    assert found.same_rate == pytest.approx(0, abs=1e-6)
    assert found.day == pytest.approx(0, abs=1e-6)
    assert found.reading == pytest.approx(0, abs=1e-6)
    assert found.fall_m3_m3 == pytest.approx(0.01)


def test_a_step_as_large_as_a_days_fall_costs_half_a_day() -> None:
    """Levels lie half-way between the steps, so a day before, moisture lies half-way too: half a step off."""
    found = bounds(history(0.40 - 0.01 / 24 * np.arange(480.0)), step_m3_m3=0.01)
    assert found.stepped == pytest.approx(0.5, abs=1e-6)
    read = bounds(history(np.round(0.40 - 0.01 / 24 * np.arange(480.0), 2)), step_m3_m3=0.01)
    assert read.reading == pytest.approx(0.5, abs=0.05)


def test_a_fall_that_slows_to_half_from_day_to_day_is_half_a_day_off_at_the_same_rate() -> None:
    """In a day it falls half of the day before: at the old rate the level comes after half of the day."""
    found = bounds(history(0.05 + 0.35 * 0.5 ** (np.arange(240.0) / 24)), step_m3_m3=0.01)
    assert found.same_rate == pytest.approx(0.5, abs=0.02)
