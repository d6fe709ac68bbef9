"""Chance by day that soil is warm enough: what years say of it, and how far few of them can be trusted."""

from datetime import date

import numpy as np
import pytest

from tests.figures import warm_days as figures
from traywarden.domain.warm_days import EPOCH, SoilDays, date_in_year, day_of_leap_year, warm_chances

FIRST = (date(2001, 1, 1) - EPOCH).days


def years(count: int, *, shift_d: float = 0.0, swing_c: float = 10.0, mean_c: float = 12.0) -> list[SoilDays]:
    """Years of a smooth wave, warmest on 20 July; each is later than the one before by shift_d."""
    found = []
    for year in range(count):
        start = (date(2001 + year, 1, 1) - EPOCH).days
        days = np.arange(start, (date(2002 + year, 1, 1) - EPOCH).days, dtype=np.int64)
        place = days - start - shift_d * year
        soil = mean_c + swing_c * np.cos(2 * np.pi * (place - 200) / 365.25)
        found.append(SoilDays("made", days, soil, 0.0))
    return found


def test_years_all_alike_make_a_sharp_chance_and_one_spell() -> None:
    found = warm_chances(years(20), 12.0, None, 2026)
    (spell,) = found.spells
    # Half the year lies above the mean: from 20 April on; the week after sowing counts, so three days before.
    assert abs((spell.first - date(2026, 4, 20)).days) <= 5
    assert abs((spell.last - date(2026, 10, 18)).days) <= 8
    assert spell.first_between is not None
    assert (spell.first_between[1] - spell.first_between[0]).days <= 2
    assert found.years == 20
    assert found.at(date(2026, 7, 1))[0] > 0.97
    assert found.at(date(2026, 1, 10))[0] < 0.03


def test_years_that_differ_spread_the_ends() -> None:
    alike, apart = (warm_chances(years(12, shift_d=d), 12.0, None, 2026) for d in (0.0, 3.0))
    width = [
        (s.first_between[1] - s.first_between[0]).days
        for found in (alike, apart)
        for s in found.spells
        if s.first_between is not None
    ]
    assert width[1] > width[0] + 2
    low, high = apart.low, apart.high
    assert (low <= apart.chance + 1e-9).all()
    assert (apart.chance <= high + 1e-9).all()


def test_a_published_maximum_parts_spring_from_autumn() -> None:
    found = warm_chances(years(15), 8.0, 18.0, 2026)
    assert len(found.spells) == 2
    spring, autumn = found.spells
    assert spring.last < date(2026, 7, 1) < autumn.first


def test_a_spell_may_run_over_the_turn_of_the_year() -> None:
    """South of the equator: warm from October to April."""
    south = [SoilDays(s.source, s.day, 24 - s.mean_c, 0.0) for s in years(12)]
    (spell,) = warm_chances(south, 12.0, None, 2026).spells
    assert spell.first.month == 10
    assert spell.last.month == 4
    assert spell.last.year == spell.first.year + 1


def test_one_year_makes_no_day_likely_however_warm() -> None:
    found = warm_chances(years(1, mean_c=25.0), 5.0, None, 2026)
    assert found.spells == ()
    assert found.at(date(2026, 7, 1))[0] == pytest.approx(0.75, abs=0.01)


def test_how_far_off_a_week_may_be_blunts_what_it_says() -> None:
    def at_the_limit(spread_c: float) -> float:
        series = [SoilDays(s.source, s.day, np.full(s.day.size, 13.0), spread_c) for s in years(10)]
        return warm_chances(series, 12.0, None, 2026).at(date(2026, 7, 1))[0]

    assert at_the_limit(0.0) == pytest.approx(10.5 / 11, abs=0.01)
    # One standard deviation above the limit: 84 % in every year.
    assert at_the_limit(1.0) == pytest.approx((10 * 0.841 + 0.5) / 11, abs=0.01)


def test_a_week_with_a_day_missing_is_no_witness() -> None:
    series = years(4)
    holed = [SoilDays(s.source, s.day, s.mean_c.copy(), 0.0) for s in series]
    for each in holed:
        each.mean_c[100:200] = np.nan
    found = warm_chances(holed, 12.0, None, 2026)
    assert np.isnan(found.chance[day_of_leap_year(date(2026, 6, 1))])
    assert np.isfinite(found.chance[day_of_leap_year(date(2026, 10, 1))])


def test_nothing_known_is_no_chance() -> None:
    assert warm_chances([], 12.0, None, 2026).years == 0


@pytest.mark.parametrize("year", [2026, 2028])
def test_dates_and_places_in_the_year_belong_together(year: int) -> None:
    for place in range(366):
        day = date_in_year(place, year)
        assert day_of_leap_year(day) == place or (place == 59 and year == 2026)


@pytest.mark.data
@pytest.mark.parametrize(
    ("limit_c", "brier", "likely"), [(10.0, 0.09, 0.95), (12.8, 0.07, 0.95), (18.0, 0.08, 0.88)]
)
def test_three_years_of_seattle_tell_the_fourth(limit_c: float, brier: float, likely: float) -> None:
    """`python -m tests.figures warm-days` prints all of it, with a limit three years cannot tell."""
    found = figures.held_out(limit_c)
    assert found.brier < brier
    assert found.brier < 0.4 * found.brier_of_the_share
    assert found.likely_held > likely
    assert found.unlikely_warm < 0.2
