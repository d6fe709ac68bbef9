"""The sun's height against the worked example of a far more exact algorithm."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from traywarden.domain.daylight import RISEN_DEG, is_night, night_words, sun_elevation_deg

# NREL, Solar Position Algorithm, Reda & Andreas 2003 (NREL/TP-560-34302), example of its test program:
# 17 October 2003, 12:30:30 at UTC−7, 39.742476° N, 105.1786° W: zenith 50.111622°, refraction included;
# that day in UTC the sun sets at 17:20:19 (still the 16th, local) and rises at 06:12:43 local.
LATITUDE_DEG, LONGITUDE_DEG = 39.742476, -105.1786
REFRACTION_DEG = 0.0163  # at 820 mbar and 11 °C, the same example


def seconds(*moment: int) -> float:
    year, month, day, hour, minute, second = moment
    return datetime(year, month, day, hour, minute, second, tzinfo=UTC).timestamp()


def test_the_sun_stands_where_the_exact_algorithm_puts_it() -> None:
    """0.01°: what the low-accuracy sun claims."""
    found = sun_elevation_deg([seconds(2003, 10, 17, 19, 30, 30)], LATITUDE_DEG, LONGITUDE_DEG)
    assert found[0] == pytest.approx(90 - 50.111622 - REFRACTION_DEG, abs=0.01)


def test_sunrise_and_sunset_come_when_the_exact_algorithm_says() -> None:
    """Within five seconds: 0.01° of height is about three seconds at this latitude, and both round."""
    start_s = seconds(2003, 10, 17, 0, 0, 0)
    time_s = start_s + np.arange(0, 86_400.0)
    up = sun_elevation_deg(time_s, LATITUDE_DEG, LONGITUDE_DEG) >= RISEN_DEG
    sets, rises = np.flatnonzero(np.diff(up.astype(int))) + 1
    assert sets == pytest.approx(timedelta(hours=0, minutes=20, seconds=19).total_seconds(), abs=5)
    assert rises == pytest.approx(timedelta(hours=13, minutes=12, seconds=43).total_seconds(), abs=5)


def test_declination_is_that_of_meeus_example() -> None:
    """Example 25.a: 13 October 1992, 0 h: −7° 47′ 06″. Seen from the pole, height is declination."""
    found = sun_elevation_deg([seconds(1992, 10, 13, 0, 0, 0)], 90.0, 0.0)
    assert found[0] == pytest.approx(-(7 + 47 / 60 + 6 / 3600), abs=0.001)


@pytest.mark.parametrize(("month", "day_hours"), [(6, 24), (12, 0)])
def test_beyond_the_polar_circle_midsummer_has_no_night_and_midwinter_no_day(
    month: int, day_hours: int
) -> None:
    time_s = seconds(2024, month, 21, 0, 0, 0) + np.arange(0, 86_400, 600.0)
    night = is_night(time_s, ZoneInfo("Europe/Oslo"), 70.0, 25.0)
    assert (~night).mean() * 24 == pytest.approx(day_hours)


def test_without_a_position_night_runs_from_18_to_6_on_the_garden_s_clock() -> None:
    """29 March 2026: Lisbon's clocks go forward at 01:00; 05:59 summer time is 04:59 UTC."""
    zone = ZoneInfo("Europe/Lisbon")
    times = [seconds(2026, 3, 29, h, m, 0) for h, m in ((4, 59), (5, 0), (16, 59), (17, 0))]
    assert is_night(times, zone).tolist() == [True, False, False, True]
    assert "18 to 6" in night_words(None, -9.1)
    assert night_words(38.7, -9.1) == "night from sunset to sunrise"
