"""Wettings found in made-up trays whose waterings are known. Recorded data: test_recorded_wettings.py."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.domain.made_trays import DAY_S, HOUR_S, MadeTray, made_tray
from traywarden.domain.waterings import (
    Wetting,
    WettingKind,
    find_wettings,
    frozen_mask,
    since_last,
)


def found_in(tray: MadeTray, *, with_temperature: bool = True) -> list[Wetting]:
    temps = tray.soil_temp_c if with_temperature else None
    return find_wettings(tray.time_s, tray.moisture_m3_m3, temps)


def assert_just_these(tray: MadeTray, wettings: list[Wetting], spacing_s: float) -> None:
    """One wetting for each watering; its onset within two readings, as the median of three moves it."""
    assert len(wettings) == len(tray.watered_s)
    for watered_s, wetting in zip(tray.watered_s, wettings, strict=True):
        assert abs(wetting.onset_s - watered_s) <= 2 * spacing_s


@pytest.mark.parametrize("with_temperature", [True, False])
@pytest.mark.parametrize("spacing_s", [60.0, 300.0, 900.0, 1800.0, 3600.0])
def test_every_daily_watering_is_found_at_every_spacing_and_nothing_else(
    spacing_s: float, with_temperature: bool
) -> None:
    tray = made_tray(spacing_s=spacing_s)
    wettings = found_in(tray, with_temperature=with_temperature)
    assert_just_these(tray, wettings, spacing_s)


@pytest.mark.parametrize("with_temperature", [True, False])
@pytest.mark.parametrize("seed", range(5))
def test_a_tray_watered_three_times_a_day_at_the_same_hours_is_seen_each_time(
    seed: int, with_temperature: bool
) -> None:
    """The habit of the days before must not explain the watering itself away: no swing is that steep."""
    tray = made_tray(watered_h=(8.0, 12.0, 17.0), seed=seed)
    # Each adds but 3 % of volume, ten times the noise, so the onset is known to half an hour, not better.
    assert_just_these(tray, found_in(tray, with_temperature=with_temperature), 900.0)


def test_water_that_seeps_up_at_the_same_hour_every_day_is_seen_every_day() -> None:
    """A wetting is no habit: each adds 5 % in two and a half hours, no more than a swing could."""
    tray = made_tray(days=8, climb_s=2.5 * HOUR_S, tau_s=6.5 * DAY_S, swing_m3_m3=0.002, noise_m3_m3=0.0)
    wettings = found_in(tray)
    assert len(wettings) == len(tray.watered_s)
    assert {w.kind for w in wettings} == {WettingKind.FROM_BELOW}


def test_on_the_first_day_without_temperature_a_slow_rise_must_exceed_any_swing() -> None:
    """6 % within two and a half hours is more than the largest swing and a real rise on top; 5 % is not."""
    time_s = np.arange(0, 12 * HOUR_S, 300.0)
    climb = np.clip((time_s - 6 * HOUR_S) / (2.5 * HOUR_S), 0, 1)
    assert len(find_wettings(time_s, 0.3 + 0.06 * climb)) == 1
    assert find_wettings(time_s, 0.3 + 0.05 * climb) == []


def test_the_first_sunny_day_after_dull_ones_is_no_watering() -> None:
    """No day before shows the swing, but the soil warms as it climbs."""
    tray = made_tray(days=6, watered_h=(), swing_m3_m3=0.0, noise_m3_m3=0.001, tau_s=20 * DAY_S)
    sunny = (tray.time_s >= 4 * DAY_S) * np.sin(2 * np.pi * (tray.time_s / DAY_S - 0.375))
    moisture = tray.moisture_m3_m3 + 0.03 * sunny
    assert find_wettings(tray.time_s, moisture, 15 + 12 * sunny) == []
    assert find_wettings(tray.time_s, moisture, np.full(tray.time_s.size, 15.0)) != []


@pytest.mark.parametrize("seed", range(4))
def test_a_noisy_sensor_makes_no_waterings_of_its_noise(seed: int) -> None:
    assert found_in(made_tray(days=8, watered_h=(), noise_m3_m3=0.02, seed=seed)) == []


def test_coarse_steps_of_a_hundredth_do_not_hide_or_make_waterings() -> None:
    tray = made_tray(step_m3_m3=0.01, every_days=2)
    assert_just_these(tray, found_in(tray), 300.0)


@pytest.mark.parametrize("with_temperature", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_the_daily_swing_of_dry_mix_is_no_watering(seed: int, with_temperature: bool) -> None:
    tray = made_tray(days=10, watered_h=(), swing_m3_m3=0.03, seed=seed)  # half more than any record shows
    assert found_in(tray, with_temperature=with_temperature) == []


def test_a_sensor_that_reads_lower_when_warm_is_understood_after_a_day() -> None:
    """The sign of the temperature effect differs between probes: warming does not explain every swing."""
    tray = made_tray(days=8, watered_h=(), swing_m3_m3=-0.03, tau_s=20 * DAY_S)
    wettings = found_in(tray)
    assert all(w.onset_s < DAY_S for w in wettings)


def test_kinds_follow_speed() -> None:
    """Nine tenths within half an hour: from above; slower: from below; hourly readings cannot tell."""
    assert {w.kind for w in found_in(made_tray(climb_s=300.0))} == {WettingKind.FROM_ABOVE}
    assert {w.kind for w in found_in(made_tray(climb_s=1.5 * HOUR_S))} == {WettingKind.FROM_BELOW}
    assert {w.kind for w in found_in(made_tray(spacing_s=3600.0))} == {WettingKind.UNCLEAR}


def test_the_rise_and_the_levels_are_those_of_the_tray() -> None:
    tray = made_tray(noise_m3_m3=0.0, swing_m3_m3=0.0, days=3, watered_h=(8.0,))
    last = found_in(tray)[-1]
    before = 0.12 + 0.38 * np.exp(-(DAY_S - 300.0) / (2 * DAY_S))
    assert last.before_m3_m3 == pytest.approx(before, abs=0.002)
    assert last.after_m3_m3 == pytest.approx(0.50, abs=0.002)
    assert last.rise_m3_m3 == pytest.approx(0.50 - before, abs=0.004)
    assert 0 < last.peak_s - last.onset_s <= 900


def test_one_wrong_reading_is_no_watering() -> None:
    tray = made_tray(watered_h=(), noise_m3_m3=0.0)
    moisture = tray.moisture_m3_m3.copy()
    moisture[[400, 900, 1400]] += 0.3
    moisture[-1] += 0.3
    assert find_wettings(tray.time_s, moisture, tray.soil_temp_c) == []


def test_the_newest_reading_counts_once_a_second_one_confirms_it() -> None:
    time_s = np.arange(0, 4 * HOUR_S, 300.0)
    moisture = np.where(time_s < 3 * HOUR_S, 0.3, 0.5)
    first_wet = int(np.argmax(moisture > 0.4))
    assert find_wettings(time_s[: first_wet + 1], moisture[: first_wet + 1]) == []
    assert len(find_wettings(time_s[: first_wet + 2], moisture[: first_wet + 2])) == 1


def test_a_thaw_is_no_watering() -> None:
    time_s = np.arange(0, 8 * DAY_S, 1800.0)
    temps = np.where((time_s > 2 * DAY_S) & (time_s < 5 * DAY_S), -4.0, 3.0)
    moisture = np.where(temps < 0, 0.16, 0.36)
    assert find_wettings(time_s, moisture, temps) == []
    assert len(find_wettings(time_s, moisture)) == 1  # without soil temperature nothing tells it from water


def test_levels_before_and_after_one_night_of_frost_are_not_compared() -> None:
    """Ten hours of frost and the day after it: shorter than a gap that is looked over, but not trusted."""
    time_s = np.arange(0, 6 * DAY_S, 1800.0)
    temps = np.where((time_s > 2 * DAY_S) & (time_s < 2 * DAY_S + 10 * HOUR_S), -2.0, 4.0)
    moisture = np.where(time_s < 2 * DAY_S, 0.30, 0.42)
    assert find_wettings(time_s, moisture, temps) == []


def test_a_watering_is_found_again_once_the_soil_has_been_thawed_for_a_day() -> None:
    time_s = np.arange(0, 8 * DAY_S, 1800.0)
    temps = np.where(time_s < 3 * DAY_S, -4.0, 3.0)
    moisture = np.where(time_s < 5 * DAY_S, 0.30, 0.45)
    [wetting] = find_wettings(time_s, moisture, temps)
    assert wetting.onset_s == pytest.approx(5 * DAY_S, abs=1800)


def test_soil_counts_as_frozen_for_a_day_after_the_last_cold_reading() -> None:
    time_s = np.arange(0, 3 * DAY_S, HOUR_S)
    temps = np.full(time_s.size, 4.0)
    temps[5] = 0.4
    frozen = time_s[frozen_mask(time_s, temps)]
    assert frozen[0] == 5 * HOUR_S
    assert frozen[-1] == 5 * HOUR_S + DAY_S - HOUR_S


def test_a_gap_over_which_it_got_much_wetter_hides_a_wetting_of_unknown_time_and_kind() -> None:
    tray = made_tray(days=3, watered_h=(20.0,), every_days=5)
    away = (tray.time_s > 18 * HOUR_S) & (tray.time_s < 30 * HOUR_S)
    moisture = np.where(away, np.nan, tray.moisture_m3_m3)
    [wetting] = find_wettings(tray.time_s, moisture, tray.soil_temp_c)
    assert wetting.over_gap
    assert wetting.kind is WettingKind.UNCLEAR
    assert wetting.onset_s <= 20 * HOUR_S < wetting.peak_s


def test_a_gap_after_which_it_is_a_little_wetter_hides_nothing() -> None:
    tray = made_tray(days=4, watered_h=(), swing_m3_m3=0.03, tau_s=50 * DAY_S)
    morning = (tray.time_s % DAY_S > 4 * HOUR_S) & (tray.time_s % DAY_S < 14 * HOUR_S)
    moisture = np.where(morning, np.nan, tray.moisture_m3_m3)
    assert find_wettings(tray.time_s, moisture, tray.soil_temp_c) == []


def test_scattered_missing_values_do_not_matter() -> None:
    tray = made_tray()
    rng = np.random.default_rng(7)
    moisture = np.where(rng.random(tray.time_s.size) < 0.2, np.nan, tray.moisture_m3_m3)
    temps = np.where(rng.random(tray.time_s.size) < 0.2, np.nan, tray.soil_temp_c)
    wettings = find_wettings(tray.time_s, moisture, temps)
    assert len(wettings) == len(tray.watered_s)


@given(
    cut=st.integers(min_value=50, max_value=1700),
    seed=st.integers(min_value=0, max_value=20),
    noise_m3_m3=st.sampled_from([0.0, 0.004, 0.008]),
)
@settings(max_examples=40)
def test_later_readings_do_not_change_what_was_found_before(cut: int, seed: int, noise_m3_m3: float) -> None:
    """A wetting that had settled when the record was cut is found the same with all the readings after it."""
    tray = made_tray(seed=seed, noise_m3_m3=noise_m3_m3, watered_h=(8.0, 18.0))
    settled_s = tray.time_s[cut - 1] - 3 * HOUR_S
    early = find_wettings(tray.time_s[:cut], tray.moisture_m3_m3[:cut], tray.soil_temp_c[:cut])
    late = found_in(tray)
    assert [w for w in early if w.peak_s < settled_s] == [w for w in late if w.peak_s < settled_s]


@given(shift_s=st.integers(min_value=-(10**9), max_value=10**9))
@settings(max_examples=20)
def test_the_clock_s_origin_does_not_matter(shift_s: int) -> None:
    tray = made_tray(days=3)
    moved = find_wettings(tray.time_s + shift_s, tray.moisture_m3_m3, tray.soil_temp_c)
    assert [w.onset_s - shift_s for w in moved] == [w.onset_s for w in found_in(tray)]


@pytest.mark.parametrize("size", [0, 1, 2])
def test_hardly_any_readings_give_no_wetting(size: int) -> None:
    assert find_wettings(np.arange(float(size)), np.full(size, 0.3), np.full(size, 20.0)) == []


def test_nothing_but_missing_values_gives_no_wetting() -> None:
    assert find_wettings(np.arange(5.0), np.full(5, np.nan), np.full(5, np.nan)) == []


def test_arrays_of_different_lengths_and_backward_times_are_refused() -> None:
    with pytest.raises(ValueError, match="equally long"):
        find_wettings([0.0, 1.0], [0.3])
    with pytest.raises(ValueError, match="ascend"):
        find_wettings([1.0, 0.0], [0.3, 0.3])


def test_time_since_the_last_wetting_can_be_asked_of_the_past() -> None:
    wettings = found_in(made_tray(days=3))
    now_s = wettings[1].onset_s + 5 * HOUR_S
    assert since_last(wettings, now_s) == 5 * HOUR_S
    assert since_last(wettings, wettings[0].onset_s - 1) is None
