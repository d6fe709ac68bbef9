"""Which way a battery's volts go, and what they say."""

import numpy as np
import pytest

from traywarden.domain.battery import BatteryTrend, battery_means, battery_trend

HOUR_S = 3600.0


def test_the_slope_survives_cold_nights_gaps_and_stray_values() -> None:
    rng = np.random.default_rng(7)
    time_s = np.arange(0, 14 * 24) * HOUR_S
    volts = 4.0 - 0.008 * time_s / 86_400 + 0.01 * np.cos(time_s / 86_400 * 2 * np.pi)
    volts += rng.normal(0, 0.003, volts.size)
    volts[50], volts[120:150], volts[200] = 0.0, np.nan, 9.9
    trend = battery_trend(time_s, volts)
    assert trend.days == 14
    assert trend.per_day_v == pytest.approx(-0.008, abs=0.0008)
    assert trend.way == "falls by 8 mV a day over 14 days"


def test_too_few_days_tell_no_way() -> None:
    for volts in ([], [4.0], [4.0] * 48, [np.nan] * 200):
        trend = battery_trend(np.arange(len(volts)) * HOUR_S, volts)
        assert trend.per_day_v is None
        assert "after 3 days" in trend.way


def test_a_charge_rises_and_noise_is_steady() -> None:
    assert BatteryTrend(0.02, 5).way == "rises by 20 mV a day over 5 days"
    assert BatteryTrend(-0.004, 5).way == "steady over 5 days"


@pytest.mark.parametrize(
    ("volts", "says"),
    [
        (3.49, "Nearly empty"),
        (3.5, "cannot be told from volts"),
        (4.2, "cannot be told"),
        (5.0, "not the volts"),
    ],
)
def test_volts_say_only_what_they_can(volts: float, says: str) -> None:
    assert says in battery_means(volts)
