"""What dry-downs of several trays say about a mix."""

import numpy as np
import pytest

from traywarden.domain.dry_down import DryDown, fit_dry_down
from traywarden.domain.mixes import MixStretch, by_mix, mean_over

DAY_S = 86400.0
TIME_S = np.arange(0, 5 * DAY_S, 3600.0)


def dry_down(tau_d: float) -> DryDown:
    return fit_dry_down(
        TIME_S,
        0.10 + 0.45 * np.exp(-TIME_S / (tau_d * DAY_S)),
        container_capacity_m3_m3=0.55,
        mid_m3_m3=0.35,
    )


def test_the_median_and_its_interval_are_those_of_the_mix_s_own_trays() -> None:
    stretches = [
        MixStretch(mix, f"{mix} {tray}", dry_down(tau_d + 0.1 * tray))
        for mix, tau_d in (("bark", 1.0), ("peat", 2.0))
        for tray in range(5)
    ]
    bark, peat = by_mix(stretches)
    assert (bark.mix, peat.mix) == ("bark", "peat")
    assert bark.tau_s.estimate == pytest.approx(1.2 * DAY_S, rel=1e-3)
    assert peat.tau_s.estimate == pytest.approx(2.2 * DAY_S, rel=1e-3)
    assert bark.tau_s.low is not None
    assert peat.tau_s.low is not None
    assert bark.tau_s.high is not None
    assert bark.tau_s.high < peat.tau_s.low
    assert bark.rate_pct_per_day.estimate is not None
    assert peat.rate_pct_per_day.estimate is not None
    assert bark.rate_pct_per_day.estimate > peat.rate_pct_per_day.estimate
    assert (bark.stretches, bark.trays, bark.too_short) == (5, 5, 0)


def test_a_hot_week_does_not_make_a_mix_look_thirsty() -> None:
    """The same mix dries twice as fast at twice the vapour-pressure deficit; per kPa it is one mix."""
    hot = [MixStretch("hot week", tray, dry_down(1.0), 2.0) for tray in "abc"]
    mild = [MixStretch("mild week", tray, dry_down(2.0), 1.0) for tray in "abc"]
    first, second = by_mix([*hot, *mild])
    assert first.rate_pct_per_day.estimate == pytest.approx(
        2 * (second.rate_pct_per_day.estimate or 0), rel=1e-3
    )
    assert first.rate_pct_per_day_kpa.estimate == pytest.approx(
        second.rate_pct_per_day_kpa.estimate, rel=1e-3
    )


def test_two_trays_give_a_median_but_no_interval_and_say_so() -> None:
    [summary] = by_mix([MixStretch("peat", tray, dry_down(2.0), 1.0) for tray in "aabb"])
    assert summary.tau_s.estimate is not None
    assert summary.tau_s.low is None
    assert summary.reason == "too few trays for an interval: 2 of the 3 trays an interval needs"


def test_stretches_that_cannot_tell_are_counted_and_left_out() -> None:
    short = fit_dry_down(TIME_S[:4], np.full(4, 0.3))
    [summary] = by_mix([MixStretch("peat", "a", short), MixStretch("peat", "b", short)])
    assert (summary.stretches, summary.too_short) == (0, 2)
    assert summary.tau_s.estimate is None
    assert summary.reason == "no dry-down is long enough to say"


@pytest.mark.parametrize("vpd_kpa", [None, 0.02, float("nan")])
def test_without_a_usable_deficit_the_plain_rate_stands_and_the_other_says_why_not(
    vpd_kpa: float | None,
) -> None:
    [summary] = by_mix([MixStretch("peat", tray, dry_down(2.0), vpd_kpa) for tray in "abc"])
    assert summary.rate_pct_per_day.low is not None
    assert summary.rate_pct_per_day_kpa.estimate is None
    assert (summary.with_vpd, summary.reason.split(":")[0]) == (
        0,
        "too few stretches with air readings to allow for the weather",
    )


def test_a_mean_over_a_span_weighs_time_not_readings() -> None:
    """Ten readings in the first minute count no more than that minute."""
    time_s = [*np.linspace(0, 60, 10), 3600.0]
    values = [*([5.0] * 10), 1.0]
    mean = mean_over(time_s, values, 0.0, 3600.0)
    assert mean == pytest.approx((60 * 5 + 3540 * 3) / 3600)


def test_a_mean_over_a_span_without_readings_close_enough_is_unknown() -> None:
    assert mean_over([0.0, 50_000.0], [1.0, 1.0], 0.0, 60_000.0) is None
    assert mean_over([], [], 0.0, 60_000.0) is None
    assert mean_over([0.0, 600.0], [np.nan, 1.0], 0.0, 600.0) is None
