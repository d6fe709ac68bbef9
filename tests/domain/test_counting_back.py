"""Counted back: against hand counts at even temperatures, and against sowing day by day."""

from datetime import date, timedelta

import numpy as np
import pytest

from traywarden.domain.counting_back import GrowingOn, Rate, SoilYears, count_back, ready_if_sown
from traywarden.domain.development import curve_for
from traywarden.domain.warm_days import EPOCH
from traywarden.store.crops import load_crops

START = (date(2019, 1, 1) - EPOCH).days
WANTED = date(2026, 5, 20)


def even(temp_c: float, years: int = 5) -> SoilYears:
    return SoilYears("made", START, np.full(24 * 366 * years, temp_c))


def wave(years: int = 6, *, seed: int = 0) -> SoilYears:
    day = np.arange(24 * 365 * years) / 24
    random = np.random.default_rng(seed)
    noise = np.repeat(random.normal(0, 2, 365 * years), 24)
    soil = 15 - 9 * np.cos(2 * np.pi * (day - 20) / 365.25) + noise + 4 * np.sin((day - 0.375) * 2 * np.pi)
    return SoilYears("made", START, soil)


def rate_of(crop: str) -> Rate:
    return curve_for(load_crops()[crop]).rate_per_d


@pytest.mark.parametrize(
    ("crop", "temp_c", "days"), [("tomato", 15.0, 14), ("tomato", 25.0, 6), ("lettuce", 10.0, 7)]
)
def test_even_soil_counts_back_by_the_printed_days(crop: str, temp_c: float, days: int) -> None:
    """Knott's days to emergence and six weeks less eight days of growing on, on the calendar."""
    growing = GrowingOn(6, 6, 8, "made")
    found = count_back([even(temp_c)], rate_of(crop), growing, WANTED, emergence_log_sd=0.0)
    assert found.sow is not None
    assert found.emerge is not None
    up = WANTED - timedelta(days=34)
    assert abs((found.emerge.usual - up).days) <= 1
    assert abs((found.sow.usual - (up - timedelta(days=days))).days) <= 1
    assert found.emergence_d is not None
    assert found.emergence_d[1] == pytest.approx(days, abs=1.0)
    assert found.failed == 0


def test_the_day_is_the_latest_that_still_serves_in_every_year() -> None:
    """Against sowing on each day in turn and adding up hour by hour."""
    rate, growing = rate_of("tomato"), GrowingOn(5, 5, 7, "made")
    soil = wave()
    found = count_back([soil], rate, growing, WANTED, emergence_log_sd=0.0, draws=1)
    latest = []
    for year in range(2019, 2025):
        wanted = (date(year, 5, 20) - EPOCH).days - START
        best = None
        for sow in range(wanted - 120, wanted):
            gathered = np.cumsum(rate(soil.soil_c[sow * 24 + 12 :]) / 24)
            up_h = sow * 24 + 12 + int(np.searchsorted(gathered, 1.0)) + 1
            if up_h + 28 * 24 <= wanted * 24 + 12:
                best = sow - wanted
        assert best is not None
        latest.append(best)
    assert found.years == 6
    assert found.sow is not None
    days = sorted(latest)
    assert days[2] - 1 <= (found.sow.usual - WANTED).days <= days[3] + 1
    assert (found.sow.early - WANTED).days >= days[0] - 1
    assert (found.sow.late - WANTED).days <= days[-1] + 1


def test_slow_seed_and_uncertain_weeks_widen_the_band() -> None:
    rate = rate_of("tomato")
    sure = count_back([wave()], rate, GrowingOn(5, 5, 7, "made"), WANTED, emergence_log_sd=0.0)
    unsure = count_back([wave()], rate, GrowingOn(4, 7, 7, "made"), WANTED, emergence_log_sd=0.3)
    assert sure.sow is not None
    assert unsure.sow is not None
    assert (unsure.sow.late - unsure.sow.early) > (sure.sow.late - sure.sow.early) + timedelta(days=10)


def test_soil_in_which_nothing_comes_up_is_said_to_serve_in_no_year() -> None:
    found = count_back(
        [even(3.0)], rate_of("pepper"), GrowingOn(7, 9, 8, "made"), WANTED, emergence_log_sd=0.2
    )
    assert found.sow is None
    assert found.failed > 0
    assert "in none of" in found.reason


def test_too_short_a_record_tells_no_year() -> None:
    short = SoilYears("made", START, np.full(24 * 60, 15.0))
    found = count_back([short], rate_of("tomato"), GrowingOn(5, 6, 7, "made"), WANTED, emergence_log_sd=0.2)
    assert found.sow is None
    assert found.years == 0
    assert "no year of soil is known" in found.reason


def test_gaps_of_days_are_bridged_and_a_month_without_readings_is_no_year() -> None:
    soil = wave()
    small, large = soil.soil_c.copy(), soil.soil_c.copy()
    small[24 * 100 : 24 * 102] = np.nan
    large[24 * 440 : 24 * 480] = np.nan  # spring of the second year
    growing = GrowingOn(5, 5, 7, "made")
    rate = rate_of("tomato")
    assert count_back([SoilYears("a", START, small)], rate, growing, WANTED, emergence_log_sd=0.0).years == 6
    assert count_back([SoilYears("a", START, large)], rate, growing, WANTED, emergence_log_sd=0.0).years == 5


def test_sown_on_the_day_told_plants_are_ready_on_the_day_wanted() -> None:
    rate, growing = rate_of("tomato"), GrowingOn(5, 6, 7, "made")
    found = count_back([wave()], rate, growing, WANTED, emergence_log_sd=0.1)
    assert found.sow is not None
    ready = ready_if_sown([wave()], rate, growing, found.sow.usual, emergence_log_sd=0.1)
    assert ready is not None
    assert abs((ready.usual - WANTED).days) <= 3
    assert ready.early < ready.usual < ready.late


def test_a_day_of_29_february_is_counted_in_other_years_too() -> None:
    found = count_back(
        [even(20.0)], rate_of("lettuce"), GrowingOn(4, 4, 3, "made"), date(2028, 2, 29), emergence_log_sd=0.0
    )
    assert found.sow is not None
    assert (date(2028, 2, 29) - found.sow.usual).days == pytest.approx(28, abs=1)
