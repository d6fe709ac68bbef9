"""The present dry-down beside earlier ones: what each weighs, by night, and with a forecast."""

import numpy as np
import pytest

from tests.domain.dryings import RESIDUAL, START_S, WET, cut, daily_demand, drying
from traywarden.domain.drying import Drying
from traywarden.domain.foresight import Remembered, demand_share, foresight, remember
from traywarden.domain.usual_drying import LEVELS_M3_M3, crossings_h, usual_drying

DAY_S = 86400.0


def clock_to(level: float, tau_h: float) -> float:
    """t* = −τ·ln((θ* − θw)/(θ0 − θw)) (soil-moisture notes, section 4)."""
    return float(-tau_h * np.log((level - RESIDUAL) / (WET - RESIDUAL)))


def earlier(count: int, tau_h: float, share: float = 1.0, before_d: float = 8.0) -> list[Remembered]:
    return [
        remember(drying(180, tau_h, share=share, start_s=START_S - (n + 1) * before_d * DAY_S))
        for n in range(count)
    ]


@pytest.mark.parametrize("share", [0.0, 1.0])
@pytest.mark.parametrize("asked_h", [24, 40, 55])
def test_a_tray_that_keeps_its_law_is_foretold_to_the_hour(share: float, asked_h: int) -> None:
    """From earlier dry-downs and a day of its own, whichever clock it dries by; tolerance 10 % of the way."""
    whole = drying(200, 60.0, share=share)
    level = 0.15
    _, true_h = crossings_h(whole, [level], 1)
    now = foresight(cut(whole, asked_h), earlier(3, 60.0, share))
    assert now.remaining_h([asked_h - 1], [level])[0] == pytest.approx(true_h[0] - asked_h, rel=0.1, abs=1.0)


def test_night_hours_hardly_count_for_a_tray_that_dries_with_the_demand() -> None:
    """Asked at 20 o'clock a tray takes longer by the night than asked at 8 for the same way to go."""
    past = earlier(3, 60.0)
    evening, morning = (foresight(cut(drying(200, 60.0), hours), past) for hours in (44, 56))
    here = {"evening": evening.speed.level_m3_m3[-1], "morning": morning.speed.level_m3_m3[-1]}
    assert here["evening"] == pytest.approx(here["morning"], abs=0.01)  # nothing dries by night
    level = here["morning"] - 0.02
    by_evening, by_morning = evening.remaining_h([43], [level])[0], morning.remaining_h([55], [level])[0]
    assert by_evening - by_morning == pytest.approx(12, abs=2)


def test_the_share_of_the_demand_is_learnt_from_when_moisture_falls() -> None:
    """True shares of 1, ½ and 0. What a sensor's own noise leaves of it is within 0.15."""
    for share in (1.0, 0.5, 0.0):
        past = [
            remember(drying(120, 60.0, share=share, noise=0.002, seed=n, start_s=START_S - n * 8 * DAY_S))
            for n in range(1, 5)
        ]
        assert demand_share(past) == pytest.approx(share, abs=0.15)
    assert demand_share([]) == 0.5


def test_two_earlier_dry_downs_weigh_as_much_as_the_present_one() -> None:
    """The geometric mean of both needs: n of n + 2 for n earlier ones."""
    present = drying(48, 60.0)
    for count in (1, 2, 6):
        past = earlier(count, 120.0)
        now = foresight(present, past, now_s=START_S)
        alone = foresight(present)
        level = [0.2]
        assert now.usual is not None
        usual, counted = now.usual.between(now.speed.level_m3_m3[[47]], level)
        assert counted[0] == pytest.approx(count, rel=0.05)
        own = foresight(present, past).speed
        own_need = np.log((own.level_m3_m3[47] - RESIDUAL) / (0.2 - RESIDUAL)) / own.speed_per_h[47]
        need, _ = now.need_h([47], level)
        weight = count / (count + 2)
        assert need[0] == pytest.approx(own_need ** (1 - weight) * usual[0] ** weight, rel=0.01)
        assert alone.need_h([47], level)[1][0] == 0


def test_a_dry_down_a_few_hours_old_is_foretold_from_earlier_ones_or_not_at_all() -> None:
    whole = drying(200, 60.0)
    _, true_h = crossings_h(whole, [0.15], 1)
    assert np.isnan(foresight(cut(whole, 5)).remaining_h([4], [0.15])[0])
    known = foresight(cut(whole, 5), earlier(4, 60.0)).remaining_h([4], [0.15])[0]
    assert known == pytest.approx(true_h[0] - 5, rel=0.1)


def test_a_level_at_or_below_what_stays_in_the_mix_is_never_foretold() -> None:
    now = foresight(drying(48, 60.0))
    assert np.isnan(now.remaining_h([47], [RESIDUAL])[0])
    assert np.isnan(now.remaining_h([47], [0.01])[0])


def test_a_level_that_is_reached_already_takes_no_time() -> None:
    assert foresight(drying(48, 60.0)).remaining_h([47], [0.45])[0] == 0.0


def test_only_dry_downs_that_were_over_and_are_not_old_count_save_for_the_last_three() -> None:
    present = drying(48, 60.0)
    ongoing = remember(drying(120, 500.0, start_s=START_S - 3600))
    old = [remember(drying(120, 120.0, start_s=START_S - d * DAY_S)) for d in (300, 250, 200, 150, 100)]
    assert foresight(present, [ongoing]).usual is None
    one, other = foresight(present, old), foresight(present, old[2:])
    assert one.usual is not None
    assert other.usual is not None
    assert np.array_equal(one.usual.count, other.usual.count)


def test_trays_of_the_same_mix_count_together_like_one_dry_down_of_its_own() -> None:
    present = drying(6, 60.0)
    many = foresight(present, mates=earlier(40, 60.0, before_d=6.0), now_s=START_S)
    assert many.usual is not None
    assert many.usual.between([0.45], [0.2])[1][0] <= 1.0 + 1e-9
    assert np.isfinite(many.remaining_h([5], [0.2])[0])


def test_a_forecast_drives_the_coming_hours_where_there_is_one() -> None:
    """Three days of double demand bring the level sooner, three grey ones later; silence changes nothing."""
    now = foresight(cut(drying(200, 60.0), 36), earlier(3, 60.0))
    level = [0.2]

    def told(strength: float) -> float:
        return float(now.remaining_h([35], level, daily_demand(108, strength)[36:])[0])

    plain = float(now.remaining_h([35], level)[0])
    assert told(2.0) < 0.8 * plain
    assert told(0.5) > 1.2 * plain
    assert told(1.0) == pytest.approx(plain, abs=0.5)
    assert float(now.remaining_h([35], level, np.full(72, np.nan))[0]) == pytest.approx(plain, abs=1e-9)


def test_what_dry_downs_usually_take_is_their_geometric_mean_step_by_step() -> None:
    slow, fast = (np.where(LEVELS_M3_M3 < 0.5, (0.5 - LEVELS_M3_M3) * h, np.nan) for h in (900.0, 100.0))
    partly = np.where(LEVELS_M3_M3 > 0.3, slow, np.nan)
    usual = usual_drying([slow, fast, partly])
    assert usual is not None
    need, count = usual.between([0.25], [0.15])
    assert need[0] == pytest.approx(0.1 * 300)  # √(900·100)
    assert count[0] == pytest.approx(2)
    need, count = usual.between([0.45], [0.35])
    assert need[0] == pytest.approx(0.1 * (900 * 900 * 100) ** (1 / 3))
    assert count[0] == pytest.approx(3)
    assert usual_drying([np.full(101, np.nan)]) is None


def test_a_level_counts_as_reached_once_the_swing_about_it_is_over() -> None:
    """A daily swing of ±0.01 on a fall of 0.01 a day: the raw readings cross the level for days."""
    hours = np.arange(480.0)
    true = 0.40 - hours / 2400
    made = Drying(
        hours * 3600,
        true + 0.01 * np.sin(hours / 24 * 2 * np.pi),
        hours * 0,
        np.ones(480),
        np.ones((480, 24)),
    )
    _, reached = crossings_h(made, [0.305], 24)
    assert reached[0] == pytest.approx((0.40 - 0.305) * 2400 + 0.5, abs=1.5)
