"""Stretches between wettings: how fast by the hour and by demand, how long soaked, when dry."""

import numpy as np
import pytest

from tests.domain.made_trays import DAY_S, HOUR_S, Floats
from traywarden.domain.mix_drying import DriedStretch, daily_losses, dried_stretches
from traywarden.domain.waterings import find_wettings
from traywarden.domain.wetting import Wetting, WettingKind

CAPACITY, LINE = 0.5, 0.25


def demand(hours: int, mean_kpa: float = 0.8) -> Floats:
    """By day, none by night."""
    return np.maximum(0.0, np.sin((np.arange(hours) / 24 - 0.25) * 2 * np.pi)) * mean_kpa * np.pi


def dried(hours: int, loss_per_kpa_h: float, start: float = 0.2, wet: float = 0.5) -> tuple[Floats, Floats]:
    """Hours and moisture: watered to `wet` in hour 8, then losing by demand."""
    hour_s = np.arange(float(hours)) * HOUR_S
    lost = np.cumsum(demand(hours)) * loss_per_kpa_h
    level = np.where(np.arange(hours) < 8, start, wet - (lost - lost[8]))
    return hour_s, np.maximum(level, 0.1)


def asked(
    hour_s: Floats, wet: Floats, wettings: list[Wetting] | None = None, demand_mm: Floats | None = None
) -> list[DriedStretch]:
    return dried_stretches(
        hour_s,
        wet,
        find_wettings(hour_s, wet) if wettings is None else wettings,
        container_capacity_m3_m3=CAPACITY,
        dry_line_m3_m3=LINE,
        demand_mm=demand_mm,
    )


@pytest.mark.parametrize("mean_kpa", [0.4, 0.8, 1.6])
def test_the_rate_by_demand_is_the_same_in_a_cool_and_in_a_hot_week(mean_kpa: float) -> None:
    """0.005 m³/m³ per kPa·h is 1 % of this capacity; 3 % for sums that are taken by whole hours."""
    hour_s = np.arange(96.0) * HOUR_S
    pull = demand(96, mean_kpa)
    lost = 0.005 * (np.cumsum(pull) - pull / 2)
    wet = np.where(np.arange(96) < 8, 0.2, 0.5 - (lost - lost[8]))
    [one] = asked(hour_s, wet, demand_mm=pull)
    assert one.loss_pct_per_mm == pytest.approx(1.0, rel=0.03)
    assert one.mean_demand_mm == pytest.approx(mean_kpa, rel=0.1)
    assert one.loss_pct_per_h is not None


def test_only_moisture_between_capacity_and_dry_line_counts_for_the_rate() -> None:
    """Below the line this tray stops drying; above capacity it still drains."""
    hour_s, wet = dried(120, 0.006, wet=0.6)
    wet[9:12] += 0.05
    [one] = asked(hour_s, np.maximum(wet, 0.24), demand_mm=demand(120))
    assert one.loss_pct_per_mm == pytest.approx(1.2, rel=0.08)
    assert one.mean_pct is not None
    assert 50 <= one.mean_pct <= 100


def test_hours_soaked_end_with_two_hours_below_and_are_open_where_none_came() -> None:
    hour_s = np.arange(60.0) * HOUR_S
    wet = np.where(np.arange(60) < 8, 0.2, 0.5)
    wet[30:] = 0.46
    wet[20] = 0.46  # one stray hour
    [one] = asked(hour_s, wet)
    assert (one.soaked_h, one.soaked_over) == (22.0, True)
    wet[30:] = 0.49
    [still] = asked(hour_s, wet)
    assert (still.soaked_h, still.soaked_over) == (52.0, False)
    [never] = asked(hour_s, np.where(np.arange(60) < 8, 0.2, 0.4))
    assert never.soaked_h is None


def test_the_dry_line_is_seen_or_drawn_out_or_left_unsaid() -> None:
    hour_s = np.arange(72.0) * HOUR_S
    wet = np.where(np.arange(72) < 8, 0.2, 0.5 - 0.005 * (np.arange(72) - 8))
    [seen] = asked(hour_s, wet)
    assert (seen.dry_h, seen.dry_seen) == (51.0, True)
    [drawn] = asked(hour_s[:40], wet[:40])
    assert drawn.dry_h == pytest.approx(50.0, abs=1.0)
    assert not drawn.dry_seen
    [early] = asked(hour_s[:20], wet[:20])
    assert early.dry_h is None


def test_a_stretch_that_says_too_little_has_no_rate() -> None:
    hour_s, wet = dried(16, 0.006)
    [short] = asked(hour_s, wet, demand_mm=demand(16))
    assert (short.loss_pct_per_h, short.loss_pct_per_mm) == (None, None)
    hour_s, wet = dried(72, 0.0001)
    [flat] = asked(hour_s, wet, demand_mm=demand(72))
    assert flat.loss_pct_per_h is None
    hour_s, wet = dried(72, 0.005)
    [becalmed] = asked(hour_s, wet, demand_mm=np.full(72, 0.001))
    assert becalmed.loss_pct_per_h is not None
    assert becalmed.loss_pct_per_mm is None


def test_some_missing_demand_is_bridged_and_too_much_is_not() -> None:
    hour_s, wet = dried(96, 0.005)
    pull = demand(96)
    pull[40:50] = np.nan
    [one] = asked(hour_s, wet, demand_mm=pull)
    assert one.loss_pct_per_mm == pytest.approx(1.0, rel=0.2)
    pull[30:80] = np.nan
    [none] = asked(hour_s, wet, demand_mm=pull)
    assert none.loss_pct_per_mm is None
    assert none.loss_pct_per_h is not None


def test_a_long_gap_ends_a_stretch_and_a_wetting_begins_one() -> None:
    hour_s, wet = dried(120, 0.004)
    wet[60:80] = np.nan
    [one] = asked(hour_s, wet, find_wettings(hour_s[:50], wet[:50]))
    assert one.end_s <= 60 * HOUR_S
    assert asked(hour_s, wet, []) == []
    unseen = Wetting(0.0, 8 * HOUR_S, 0.2, 0.5, 0.0, HOUR_S, WettingKind.UNCLEAR, 0.4, "", over_gap=True)
    assert asked(hour_s, wet, [unseen]) == []


def test_daily_losses_are_of_whole_days_within_a_stretch() -> None:
    hour_s, wet = dried(120, 0.005)
    [one] = asked(hour_s, wet)
    found = daily_losses(hour_s, wet, [one], CAPACITY)
    assert [day for day, _ in found] == [1, 2, 3]
    for day, loss in found:
        assert loss == pytest.approx((wet[day * 24] - wet[day * 24 + 24]) / CAPACITY * 100, abs=1e-5)
    wet[48] = np.nan
    assert [day for day, _ in daily_losses(hour_s, wet, [one], CAPACITY)] == [3]
    assert daily_losses([], [], [], CAPACITY) == []


def test_levels_that_cannot_be_and_arrays_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="above the dry line"):
        dried_stretches([0.0], [0.1], [], container_capacity_m3_m3=0.2, dry_line_m3_m3=0.2)
    with pytest.raises(ValueError, match="equally long"):
        dried_stretches([0.0], [0.1, 0.2], [], container_capacity_m3_m3=0.5, dry_line_m3_m3=0.2)
    assert DAY_S == 24 * HOUR_S
