"""Two places compared, on climates whose difference is known."""

from dataclasses import asdict
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from traywarden.domain.places import Comparison, Limits, PlaceClimate, compare
from traywarden.domain.units import Display
from traywarden.errors import ShortOfDataError

DAY_S = 86400.0
UTC_ZONE = ZoneInfo("UTC")
WEEK_S = np.arange(0, 7 * DAY_S, 600.0)
BENCH_C = 10 + 6 * np.sin(2 * np.pi * (WEEK_S / DAY_S - 0.375))
BENCH = PlaceClimate("Open bench", WEEK_S, BENCH_C)


def frame(gain_c: float = 3.0, *, time_s: NDArray[np.float64] | None = None) -> PlaceClimate:
    times = WEEK_S if time_s is None else time_s
    return PlaceClimate("Cold frame", times, np.interp(times, WEEK_S, BENCH_C) + gain_c)


def test_a_steady_gain_is_found_in_every_figure() -> None:
    found = compare(frame(), BENCH, UTC_ZONE, base_c=0.0)
    for interval in (
        found.mean_difference_c,
        found.min_difference_c,
        found.max_difference_c,
        found.night_difference_c,
        found.day_difference_c,
    ):
        assert interval.estimate == pytest.approx(3.0, abs=1e-9)
    assert found.gained_c_days == pytest.approx(3.0 * found.days_counted, rel=1e-3)
    assert [d.day for d in found.days] == [date(1970, 1, k) for k in range(1, 8)]


def test_a_frame_that_only_keeps_the_night_warm_gains_by_night() -> None:
    """One degree: little enough that the warmest and coldest instants of the day stay where they are."""
    night = (WEEK_S % DAY_S < 6 * 3600) | (WEEK_S % DAY_S >= 18 * 3600)
    found = compare(PlaceClimate("Cold frame", WEEK_S, BENCH_C + 1.0 * night), BENCH, UTC_ZONE)
    assert found.night_difference_c.estimate == pytest.approx(1.0, abs=0.01)
    assert found.day_difference_c.estimate == pytest.approx(0.0, abs=0.01)
    assert found.min_difference_c.estimate == pytest.approx(1.0, abs=0.01)
    assert found.max_difference_c.estimate == pytest.approx(0.0, abs=0.01)
    assert "18 to 6" in found.night_rule


def test_exchanging_the_places_turns_every_sign() -> None:
    there, back = compare(frame(), BENCH, UTC_ZONE, base_c=5.0), compare(BENCH, frame(), UTC_ZONE, base_c=5.0)
    assert there.mean_difference_c.estimate == pytest.approx(-(back.mean_difference_c.estimate or 0))
    assert there.mean_difference_c.low == pytest.approx(-(back.mean_difference_c.high or 0), abs=0.05)
    assert there.gained_c_days == pytest.approx(-(back.gained_c_days or 0))


@given(
    offset_s=st.floats(min_value=-290, max_value=290),
    spacing_s=st.sampled_from([240.0, 300.0, 420.0, 1800.0]),
)
@settings(max_examples=25)
def test_stamps_need_not_be_shared(offset_s: float, spacing_s: float) -> None:
    """A straight line over half an hour of this day's curve is off by less than 0.02 °C."""
    times = np.arange(0, 6.9 * DAY_S, spacing_s) + 300 + offset_s
    found = compare(frame(time_s=times), BENCH, UTC_ZONE)
    assert found.mean_difference_c.estimate == pytest.approx(3.0, abs=0.02)


def test_hours_missing_on_one_side_count_on_neither() -> None:
    """The bench is blind every afternoon; the frame's afternoons must not be set against cool mornings."""
    blind = np.where((WEEK_S % DAY_S > 12 * 3600) & (WEEK_S % DAY_S < 18 * 3600), np.nan, BENCH_C)
    found = compare(frame(), PlaceClimate("Open bench", WEEK_S, blind), UTC_ZONE, longest_gap_s=3600.0)
    assert found.mean_difference_c.estimate == pytest.approx(3.0, abs=1e-9)
    assert found.coverage == pytest.approx(0.75, abs=0.02)
    assert found.b_coverage == pytest.approx(0.75, abs=0.02)
    assert found.a_coverage == pytest.approx(1.0, abs=0.01)
    assert found.days_counted == 0
    assert found.min_difference_c.estimate is None
    assert found.days[2].reason == "both sides cover 75 % of the day, 80 % needed"


def half_a_last_day(gain_c: float = 9.0) -> Comparison:
    """Six days three degrees warmer, and the first half of a seventh, warmer by `gain_c`."""
    part = WEEK_S <= 6.5 * DAY_S
    warmer = np.where(WEEK_S < 6 * DAY_S, 3.0, gain_c)
    there = PlaceClimate("Cold frame", WEEK_S[part], (BENCH_C + warmer)[part])
    return compare(there, BENCH, UTC_ZONE, start_s=0.0, end_s=7 * DAY_S)


def test_a_day_under_the_coverage_policy_is_blank_in_every_figure_and_counts_in_none() -> None:
    found = half_a_last_day()
    last = found.days[-1]
    assert last.reason == "both sides cover 50 % of the day, 80 % needed"
    figures = {name: value for name, value in asdict(last).items() if name.endswith(("_c", "_days"))}
    assert len(figures) == 13
    assert set(figures.values()) == {None}
    for interval in (
        found.mean_difference_c,
        found.night_difference_c,
        found.day_difference_c,
        found.max_difference_c,
    ):
        assert interval.n == 6
        # The line from the sixth day's last reading up to the seventh's first adds 3 °C over ten minutes.
        assert interval.estimate == pytest.approx(3.0, abs=0.05)


def test_the_sentence_says_how_many_of_its_days_count() -> None:
    assert sentence(half_a_last_day()).startswith("1970-01-01 to 1970-01-07 (6 of 7 days count): Cold frame")


def test_before_a_first_whole_day_the_difference_so_far_is_given_without_an_interval() -> None:
    found = compare(frame(), BENCH, UTC_ZONE, start_s=0.0, end_s=DAY_S / 2)
    assert found.days_counted == 0
    assert found.mean_difference_c.estimate == pytest.approx(3.0, abs=1e-9)
    assert found.mean_difference_c.low is None
    words = sentence(found)
    assert "Cold frame was +3.0 °C against Open bench on average" in words
    assert "no day is covered enough to say how sure that is" in words


def test_data_are_never_made_up_over_a_gap() -> None:
    """Two days of silence in the frame: those days are blank, and the rest is as it was."""
    silent = (WEEK_S >= 2 * DAY_S) & (WEEK_S < 4 * DAY_S)
    there = frame()
    found = compare(PlaceClimate("Cold frame", there.time_s[~silent], there.temp_c[~silent]), BENCH, UTC_ZONE)
    assert [d.a_mean_c is None for d in found.days] == [False, False, True, True, False, False, False]
    assert found.common_h == pytest.approx(5 * 24, abs=0.5)


def test_the_mean_counts_time_not_readings() -> None:
    """A probe that reads every minute on one warm day must not make that day count for more."""
    gain_c = np.where(WEEK_S < DAY_S, 10.0, 0.0)
    dense_s = np.sort(np.unique(np.concatenate([np.arange(0, DAY_S, 60.0), WEEK_S])))
    dense = PlaceClimate("Cold frame", dense_s, np.interp(dense_s, WEEK_S, BENCH_C + gain_c))
    found = compare(dense, BENCH, UTC_ZONE)
    assert found.mean_difference_c.estimate == pytest.approx(10 / 7, abs=0.03)


def test_days_are_the_garden_s_and_23_hours_long_when_the_clocks_go_forward() -> None:
    zone = ZoneInfo("Europe/Lisbon")
    start_s = 1_774_656_000.0  # 28 March 2026, midnight in Lisbon; the clocks go forward on the 29th
    time_s = start_s + np.arange(0, 3 * DAY_S, 600.0)
    level = np.full(time_s.size, 12.0)
    found = compare(PlaceClimate("a", time_s, level + 1), PlaceClimate("b", time_s, level), zone, base_c=10.0)
    by_day = {d.day: d for d in found.days}
    assert by_day[date(2026, 3, 29)].coverage == pytest.approx(1.0)
    assert by_day[date(2026, 3, 29)].b_c_days == pytest.approx(2.0 * 23 / 24, rel=1e-3)
    assert by_day[date(2026, 3, 28)].b_c_days == pytest.approx(2.0, rel=5e-3)


def test_hours_below_and_above_a_crop_s_limits_are_counted_on_both_sides() -> None:
    """The bench's sine is below its mean less half its height for a third of the time, above it likewise."""
    limits = Limits("tomato", low_c=7.0, high_c=13.0)
    found = compare(frame(0.0), BENCH, UTC_ZONE, limits=limits)
    assert found.hours is not None
    third_h = found.common_h / 3
    for hours in (found.hours.a_below_h, found.hours.b_below_h, found.hours.a_above_h, found.hours.b_above_h):
        assert hours == pytest.approx(third_h, rel=0.02)


def test_a_limit_that_is_not_published_is_not_counted() -> None:
    found = compare(frame(), BENCH, UTC_ZONE, limits=Limits("lettuce", high_c=27.0))
    assert found.hours is not None
    assert found.hours.a_below_h is None
    assert found.hours.a_above_h == 0.0


def sentence(found: Comparison, **display: str) -> str:
    return found.in_words(Display(**display))


def test_the_sentence_says_who_was_warmer_by_how_much_and_how_sure_that_is() -> None:
    found = compare(frame(), BENCH, UTC_ZONE, base_c=10.0, limits=Limits("tomato", low_c=10.0))
    words = sentence(found)
    assert words.startswith(
        "1970-01-01 to 1970-01-07: Cold frame was 3.0 °C warmer than Open bench on average"
    )
    assert "(95 % interval +3.0 °C to +3.0 °C)" in words
    assert "+3.0 °C by night" in words
    assert "°C·days more above 10.0 °C" in words
    assert "h below tomato’s 10.0 °C instead of" in words
    assert words.endswith("both were measured 100 % of the time.")


def test_the_sentence_follows_the_display_s_units() -> None:
    assert "5.4 °F warmer" in sentence(compare(frame(), BENCH, UTC_ZONE), temperature="F")
    assert "5.4 °F colder" in sentence(compare(frame(-3.0), BENCH, UTC_ZONE), temperature="F")


def test_the_sentence_does_not_claim_a_difference_the_days_do_not_show() -> None:
    gain_c = np.where((WEEK_S // DAY_S) % 2 == 0, 4.0, -4.0)
    found = compare(PlaceClimate("Cold frame", WEEK_S, BENCH_C + gain_c), BENCH, UTC_ZONE)
    assert "did not differ clearly" in sentence(found)


def test_a_single_day_gives_a_difference_and_says_that_it_cannot_tell_how_sure() -> None:
    found = compare(frame(), BENCH, UTC_ZONE, start_s=DAY_S, end_s=2 * DAY_S)
    assert found.mean_difference_c.low is None
    assert "one day is too little to say how sure that is" in sentence(found)


@pytest.mark.parametrize(
    "other",
    [
        PlaceClimate("Shade", WEEK_S + 30 * DAY_S, BENCH_C),
        PlaceClimate("Shade", np.array([]), np.array([])),
        PlaceClimate("Shade", WEEK_S, np.full(WEEK_S.size, np.nan)),
    ],
)
def test_places_without_a_common_instant_are_told_apart_in_one_sentence(other: PlaceClimate) -> None:
    with pytest.raises(ShortOfDataError, match="“Shade” and “Open bench” have no readings at the same time"):
        compare(other, BENCH, UTC_ZONE)
