"""Container capacity comes back from thorough waterings, whatever the skimpy ones and the drift do."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tests.domain.made_trays import DAY_S, HOUR_S, made_tray
from traywarden.domain.plateaus import (
    Capacity,
    Plateau,
    drifts,
    learned_capacity,
    plateaus,
    pooled_capacity,
)
from traywarden.domain.waterings import find_wettings
from traywarden.domain.wetting import Wetting, WettingKind

WEEK_S = 7 * DAY_S


def at(levels: list[float], every_s: float = 2 * DAY_S, fell: float = 0.02) -> list[Plateau]:
    return [Plateau(n * every_s, level, fell, 6) for n, level in enumerate(levels)]


def learned(levels: list[float], every_s: float = 2 * DAY_S, fell: float = 0.02) -> Capacity:
    return learned_capacity(at(levels, every_s, fell))


@pytest.mark.parametrize("spacing_s", [300.0, 600.0, 3600.0])
def test_every_watering_left_alone_has_its_plateau_at_the_level_it_drained_to(spacing_s: float) -> None:
    """Nothing drains in these trays, so the level is what they were watered to, less an hour of drying; the
    swing of 0.004 and the noise of 0.001 stay within 0.008."""
    made = made_tray(
        spacing_s=spacing_s, days=12, every_days=3, swing_m3_m3=0.004, noise_m3_m3=0.001, tau_s=5 * DAY_S
    )
    found = plateaus(made.time_s, made.moisture_m3_m3, find_wettings(made.time_s, made.moisture_m3_m3))
    assert len(found) == len(made.watered_s)
    assert [p.m3_m3 for p in found] == pytest.approx([0.50] * len(found), abs=0.008)


def test_what_evaporates_during_the_plateau_does_not_count() -> None:
    time_s = np.arange(0, 12 * HOUR_S, 600.0)
    wet = np.where(time_s < 2 * HOUR_S, 0.3, 0.55 - 0.01 * (time_s - 2 * HOUR_S) / HOUR_S)  # 0.01 an hour
    [found] = plateaus(time_s, wet, find_wettings(time_s, wet))
    assert found.m3_m3 == pytest.approx(0.54, abs=0.002)  # after the first hour; the median would be 0.515


def test_a_watering_soon_after_another_or_seen_only_by_a_gap_has_no_plateau() -> None:
    time_s = np.arange(0, 24 * HOUR_S, 600.0)
    twice = np.select([time_s < 4 * HOUR_S, time_s < 6.5 * HOUR_S], [0.2, 0.35], 0.5)
    wettings = find_wettings(time_s, twice)
    assert len(wettings) == 2
    assert len(plateaus(time_s, twice, wettings)) == 1
    gap = Wetting(0.0, 6 * HOUR_S, 0.2, 0.5, 0.0, 600.0, WettingKind.UNCLEAR, 0.4, "", over_gap=True)
    assert plateaus(time_s, np.full(time_s.size, 0.5), [gap]) == []
    assert plateaus(time_s, np.full(time_s.size, 0.5), []) == []


def test_missing_hours_are_no_plateau() -> None:
    time_s = np.arange(0, 24 * HOUR_S, 600.0)
    wet = np.where(time_s < 4 * HOUR_S, 0.2, 0.5)
    wettings = find_wettings(time_s, wet)
    wet[(time_s > 6 * HOUR_S) & (time_s < 11 * HOUR_S)] = np.nan
    assert plateaus(time_s, wet, wettings) == []


@given(
    st.integers(0, 10_000),
    st.integers(4, 20),
    st.integers(0, 6),
    st.floats(0.3, 0.8),
    st.floats(0.001, 0.005),
)
def test_skimpy_waterings_and_a_head_that_stood_in_water_do_not_move_it(
    seed: int, thorough: int, skimpy: int, capacity: float, noise: float
) -> None:
    """However many and deep the skimpy ones, as long as they are not the most; within what lies together."""
    rng = np.random.default_rng(seed)
    levels = np.concatenate(
        [
            rng.normal(capacity, noise, thorough),
            capacity - rng.uniform(0.04, 0.2, min(skimpy, thorough)),
            [capacity + 0.1],
        ]
    )
    found = learned(rng.permutation(levels).tolist())
    assert found.m3_m3.estimate == pytest.approx(capacity, abs=0.012)
    assert found.m3_m3.low is not None
    assert len(found.thorough) <= thorough


def test_the_interval_is_students_where_plateaus_scatter_and_no_narrower_than_is_honest() -> None:
    levels = [0.540, 0.548, 0.552, 0.560, 0.557, 0.545]
    found = learned(levels, every_s=DAY_S).m3_m3
    theirs = stats.t.interval(0.95, len(levels) - 1, np.mean(levels), stats.sem(levels))
    assert (found.low, found.high) == pytest.approx(theirs)
    close = learned([0.55, 0.5501, 0.5499, 0.55]).m3_m3
    assert close.estimate is not None
    assert close.low is not None
    assert close.estimate - close.low == pytest.approx(0.006)
    warm = learned_capacity(at([0.55, 0.5501, 0.5499, 0.55]), at_20_c=False).m3_m3
    assert warm.low == pytest.approx(0.55 - 0.015, abs=1e-4)


def test_too_few_or_scattered_plateaus_say_why_they_tell_nothing() -> None:
    assert learned([0.5, 0.5]).reason == "2 of the 3 drained plateaus it takes"
    scattered = [0.30, 0.34, 0.38, 0.42, 0.46, 0.50, 0.54, 0.36, 0.40, 0.44, 0.48, 0.52]
    assert "no one level" in learned(scattered, fell=0.0).reason
    assert learned(scattered).m3_m3.low is None


@pytest.mark.parametrize("per_week", [-0.03 / 4, 0.04 / 4, 0.012 / 4])
def test_a_drift_of_the_head_is_told_from_plateaus_that_move(per_week: float) -> None:
    """Ten weeks, one thorough watering every four days and a skimpy one in three."""
    rng = np.random.default_rng(3)
    levels = []
    for n in range(18):
        level = 0.55 + per_week * n * 4 / 7 + rng.normal(0, 0.003)
        levels.append(level - (rng.uniform(0.05, 0.15) if n % 3 == 2 else 0.0))
    found = learned(levels, every_s=4 * DAY_S)
    assert found.drift is not None
    assert found.drift.per_s * WEEK_S == pytest.approx(per_week, abs=0.001)
    assert found.drift.low_per_s is not None
    assert found.drift.high_per_s is not None
    assert found.drift.low_per_s < per_week / WEEK_S < found.drift.high_per_s
    assert drifts(found) == (abs(per_week) * 4 > 0.02)


@pytest.mark.parametrize("seed", range(20))
def test_a_head_that_stays_put_is_never_said_to_drift(seed: int) -> None:
    rng = np.random.default_rng(seed)
    levels = 0.55 + rng.normal(0, 0.006, 20) - rng.uniform(0.03, 0.2, 20) * (rng.uniform(size=20) < 0.3)
    assert not drifts(learned(levels.tolist(), every_s=4 * DAY_S))


def test_a_mix_is_known_by_its_heads_not_by_how_often_they_were_watered() -> None:
    heads = [learned([level] * n) for level, n in ((0.50, 20), (0.54, 3), (0.58, 3))]
    found = pooled_capacity(heads)
    assert found.estimate == pytest.approx(0.54)
    theirs = stats.t.interval(0.95, 2, 0.54, stats.sem([0.50, 0.54, 0.58]))
    assert (found.low, found.high) == pytest.approx(theirs)
    assert pooled_capacity(heads[:2]).reason == "two heads: their range"
    assert (pooled_capacity(heads[:2]).low, pooled_capacity(heads[:2]).high) == pytest.approx((0.50, 0.54))
    near = pooled_capacity([learned([level] * 4) for level in (0.550, 0.551, 0.552)])
    assert (near.low, near.high) == pytest.approx((0.551 - 0.006, 0.551 + 0.006))
    assert pooled_capacity(heads[:1]).reason.startswith("one head")
    assert pooled_capacity([learned([0.5])]).reason == "no head shows it yet"
    slipping = learned([0.55 + 0.008 * n for n in range(12)], every_s=5 * DAY_S)
    assert drifts(slipping)
    assert pooled_capacity([*heads, slipping]).n == 3
