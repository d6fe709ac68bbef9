"""What is unlike a head's own season, its usual day or its neighbours is found; what is not known is said."""

import numpy as np

from traywarden.domain.habits import lifeless, season_spans, unlike_neighbours
from traywarden.domain.qartod_wide import climatology
from traywarden.domain.series import FloatArray


def days(count: int) -> FloatArray:
    return np.arange(0.0, count * 86_400.0, 3600.0)


def swing(hour_s: FloatArray, size_c: float = 5.0) -> FloatArray:
    return np.asarray(15 + size_c * np.sin(hour_s / 86_400 * 2 * np.pi))


def test_a_season_is_known_from_ten_days_and_judges_only_its_month() -> None:
    hour_s = days(20)
    month = np.where(hour_s < 11 * 86_400, 4, 5)
    spans = season_spans(month, swing(hour_s))
    assert list(spans) == [4]  # nine days of May are too few
    low, high = spans[4]
    assert low < 10
    assert 20 < high < 40
    codes = climatology(np.array([4, 4, 5]), np.array([15.0, 45.0, 45.0]), spans)
    assert codes.tolist() == [1, 3, 2]


def test_a_head_that_hardly_moves_is_lifeless_only_beside_its_own_usual_day() -> None:
    hour_s = days(12)
    values = swing(hour_s)
    values[9 * 24 :] = 15 + 0.1 * (values[9 * 24 :] - 15)  # three days at a tenth of its swing
    codes = lifeless(hour_s, values)
    assert (codes[: 9 * 24] <= 2).all()
    assert (codes[10 * 24 + 2 :] == 3).all()
    values[9 * 24 :] = 15.0
    assert (lifeless(hour_s, values)[10 * 24 + 2 :] == 4).all()


def test_four_days_do_not_show_what_is_usual() -> None:
    hour_s = days(4)
    assert set(lifeless(hour_s, swing(hour_s)).tolist()) == {2}


def test_a_lone_odd_hour_beside_neighbours_is_passed_over_and_three_are_not() -> None:
    mine, others = np.full(12, 15.0), np.full((2, 12), 15.0)
    mine[3], mine[7:10] = 40.0, (22.0, 30.0, 22.0)
    assert unlike_neighbours(mine, others, 6.0, 12.0).tolist() == [1, 1, 1, 1, 1, 1, 1, 3, 4, 3, 1, 1]
