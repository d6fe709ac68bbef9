"""Lows and highs: what they rest on, what bounds them, and how recorded years fell inside."""

from datetime import date, timedelta

import numpy as np
import pytest

from tests.figures import hours, lows_highs
from traywarden.domain.lows_highs import DEFAULT_HIGH_C, DEFAULT_LOW_C, expected, walk
from traywarden.domain.nights import Turns
from traywarden.domain.series import FloatArray


def turns_of(
    truth_c: FloatArray, marks: FloatArray | None = None, so_far_c: FloatArray | None = None
) -> Turns:
    rows = truth_c.size
    return Turns(
        [date(2026, 1, 1) + timedelta(days=n) for n in range(rows)],
        truth_c,
        np.r_[truth_c[0], truth_c[:-1]],
        np.full(rows, np.nan) if so_far_c is None else so_far_c,
        np.zeros((rows, 7)) if marks is None else marks,
    )


def noise(rows: int, seed: int = 3) -> FloatArray:
    return np.random.default_rng(seed).normal(10, 2, rows)


def test_with_too_few_errors_the_stated_default_stands_and_says_so() -> None:
    lows = np.r_[noise(6), np.nan]
    found = expected(turns_of(lows), of_night=True)
    assert found is not None
    assert not found.calibrated
    assert found.high_c - found.low_c == pytest.approx(2 * DEFAULT_LOW_C)
    assert "the width is a default" in found.reason
    assert found.held is None
    high = expected(turns_of(lows), of_night=False)
    assert high is not None
    assert high.high_c - high.low_c == pytest.approx(2 * DEFAULT_HIGH_C)


def test_own_errors_set_the_interval_once_there_are_ten() -> None:
    found = expected(turns_of(np.r_[noise(200), np.nan]), of_night=True)
    assert found is not None
    assert found.calibrated
    assert found.reason == ""
    assert found.errors == 60
    assert found.held == pytest.approx(0.8, abs=0.03)
    # The departure from the usual is a mark of its own that is 0 here: the change is twice the noise's.
    assert found.high_c - found.low_c == pytest.approx(2 * 1.28 * 2 * np.sqrt(2), rel=0.25)


def test_a_mark_that_tells_is_learned_and_beats_same_as_last_time() -> None:
    random = np.random.default_rng(8)
    marks = np.zeros((300, 7))
    marks[:, 3] = random.normal(0, 3, 300)
    lows = np.cumsum(random.normal(0, 0.3, 300))
    change = 0.8 * marks[:, 3]
    truth = lows + change
    turns = Turns(turns_of(truth).nights, np.r_[truth[:-1], np.nan], lows, np.full(300, np.nan), marks)
    found = expected(turns, of_night=True)
    assert found is not None
    assert found.error_c is not None
    assert found.plain_error_c is not None
    assert found.error_c < 0.4 * found.plain_error_c


def test_the_interval_widens_when_the_weather_grows_rougher() -> None:
    calm, rough = noise(150) * 0.2, noise(60, seed=9) * 1.5
    walked = walk(turns_of(np.r_[calm, rough]), half_width_c=5.0, of_night=True)
    width = walked.high_c - walked.low_c
    assert width[205] > 2 * width[149]


def test_what_has_been_reached_bounds_what_may_come() -> None:
    lows = np.r_[noise(60), np.nan]
    so_far = np.full(61, np.nan)
    so_far[-1] = 4.0
    night = expected(turns_of(lows, so_far_c=so_far), of_night=True)
    assert night is not None
    assert night.high_c == night.estimate_c == 4.0
    so_far[-1] = 16.0
    day = expected(turns_of(lows, so_far_c=so_far), of_night=False)
    assert day is not None
    assert day.low_c == day.estimate_c == 16.0


def test_rows_to_come_change_nothing_before_them() -> None:
    lows = noise(120)
    whole, short = (walk(turns_of(values), half_width_c=5.0, of_night=True) for values in (lows, lows[:80]))
    np.testing.assert_array_equal(whole.low_c[:80], short.low_c)
    np.testing.assert_array_equal(whole.estimate_c[:80], short.estimate_c)


def test_nothing_known_is_no_answer() -> None:
    assert expected(turns_of(np.full(3, np.nan)), of_night=True) is None


@pytest.mark.data
@pytest.mark.parametrize("field", [hours.bondville, hours.ford_dry_lake])
@pytest.mark.parametrize("asked_h", [18, 7])
def test_recorded_lows_and_highs_fell_inside_four_times_in_five(field: hours.Maker, asked_h: int) -> None:
    """A year, each day from the days before. `python -m tests.figures lows-highs` prints all of it."""
    recorded = field()
    for temp_c in (recorded.air_c, *recorded.soil_c.values()):
        for of_night in (True, False):
            found = lows_highs.reached(recorded, temp_c, of_night=of_night, asked_h=asked_h)
            assert 0.77 <= found.held <= 0.83
            # At seven in the morning the coming night is far: no worse than “same as last time”.
            assert found.ratio < (0.99 if not of_night else 0.89 if asked_h == 18 else 1.0)
            # Summer and autumn by themselves: from day 150 of the walk (June) to day 330.
            season = lows_highs.reached(
                recorded, temp_c, of_night=of_night, asked_h=asked_h, days=slice(150, 330)
            )
            assert 0.75 <= season.held <= 0.85


@pytest.mark.data
def test_the_default_widths_are_what_a_fields_year_shows() -> None:
    recorded = hours.bondville()
    for asked_h in (18, 7):
        for temp_c in (recorded.air_c, *recorded.soil_c.values()):
            low = lows_highs.reached(recorded, temp_c, of_night=True, asked_h=asked_h)
            high = lows_highs.reached(recorded, temp_c, of_night=False, asked_h=asked_h)
            assert low.plain_80_c <= DEFAULT_LOW_C <= low.plain_80_c + 1.1
            assert high.plain_80_c <= DEFAULT_HIGH_C <= high.plain_80_c + 2.0
