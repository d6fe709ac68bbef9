"""What is drawn of a long series keeps its peaks, its ends and its gaps."""

import numpy as np
import pytest

from traywarden.services.thinning import MOST_POINTS, thinned

DAY_S, STEP_S = 86_400.0, 600.0


def _season() -> tuple[np.ndarray, np.ndarray]:
    time_s = np.arange(0, 90 * DAY_S, STEP_S)
    return time_s, 10 + 5 * np.sin(time_s / DAY_S * 2 * np.pi)


def test_a_short_series_is_drawn_whole() -> None:
    time_s = np.arange(0, DAY_S, STEP_S)
    [kept] = thinned(time_s, np.sin(time_s), 7200.0)
    assert kept.tolist() == list(range(time_s.size))


@pytest.mark.parametrize("peak_c", [31.25, -12.5])
def test_a_single_reading_that_stands_out_is_drawn(peak_c: float) -> None:
    time_s, values = _season()
    values[7_777] = peak_c
    [kept] = thinned(time_s, values, 7200.0)
    assert 7_777 in kept
    assert MOST_POINTS - 10 <= kept.size <= MOST_POINTS + 2
    assert (kept[0], kept[-1]) == (0, time_s.size - 1)


def test_every_day_keeps_its_warmest_and_coldest_hour_within_a_quarter_of_a_degree() -> None:
    time_s, values = _season()
    [kept] = thinned(time_s, values, 7200.0)
    for day in range(90):
        mine = (time_s >= day * DAY_S) & (time_s < (day + 1) * DAY_S)
        drawn = kept[mine[kept]]
        assert values[drawn].max() == pytest.approx(values[mine].max(), abs=0.25)
        assert values[drawn].min() == pytest.approx(values[mine].min(), abs=0.25)


def test_a_gap_parts_the_line_and_no_point_is_made_up() -> None:
    time_s, values = _season()
    here = (time_s < 30 * DAY_S) | (time_s > 33 * DAY_S)
    parts = thinned(time_s[here], values[here], 7200.0)
    assert len(parts) == 2
    assert time_s[here][parts[0][-1]] < 30 * DAY_S
    assert time_s[here][parts[1][0]] > 33 * DAY_S


def test_a_series_of_gaps_is_still_short() -> None:
    """Readings every three hours where two hours count as a gap: they are joined rather than multiplied."""
    time_s = np.arange(0, 365 * DAY_S, 3 * 3600.0)
    parts = thinned(time_s, np.sin(time_s), 7200.0)
    assert len(parts) == 1
    assert sum(part.size for part in parts) <= MOST_POINTS + 2


def test_nothing_is_nothing() -> None:
    assert thinned(np.empty(0), np.empty(0), 7200.0) == []
