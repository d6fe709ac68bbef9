"""An air sensor in the sun is told from a frame, from one that is always off, and from a warm afternoon."""

import numpy as np
import pytest

from traywarden.domain.series import BoolArray, FloatArray, IntArray
from traywarden.domain.sunlit import sunlit

HOURS: FloatArray = np.arange(0.0, 7 * 86_400.0, 3600.0)
CLOCK = (HOURS / 3600) % 24
NIGHT: BoolArray = (CLOCK < 6) | (CLOCK >= 18)
DAY: IntArray = (HOURS // 86_400).astype(np.int64)
OUTSIDE: FloatArray = 12 - 6 * np.cos((CLOCK - 3) / 24 * 2 * np.pi)
SUN: FloatArray = np.where(np.abs(CLOCK - 11) <= 1, 8.0, 0.0)


def test_warm_at_the_same_hours_and_right_by_night_is_sun() -> None:
    found = sunlit(HOURS, OUTSIDE + SUN, np.stack([OUTSIDE, OUTSIDE + 0.5]), NIGHT, DAY)
    assert found is not None
    assert (found.days, found.days_looked_at) == (7, 7)
    assert found.excess_c == pytest.approx(7.75)


def test_an_offset_that_stays_by_night_is_no_sun() -> None:
    assert sunlit(HOURS, OUTSIDE + 5, np.stack([OUTSIDE]), NIGHT, DAY) is None


def test_two_warm_days_are_a_hand_or_a_lid() -> None:
    twice = np.where(HOURS < 2 * 86_400, SUN, 0.0)
    assert sunlit(HOURS, OUTSIDE + twice, np.stack([OUTSIDE]), NIGHT, DAY) is None


def test_one_neighbour_in_the_sun_among_three_accuses_nobody_else() -> None:
    assert sunlit(HOURS, OUTSIDE, np.stack([OUTSIDE + SUN, OUTSIDE, OUTSIDE + 0.3]), NIGHT, DAY) is None


def test_without_anything_to_compare_nothing_is_said() -> None:
    assert sunlit(HOURS, OUTSIDE + SUN, np.full((2, HOURS.size), np.nan), NIGHT, DAY) is None
