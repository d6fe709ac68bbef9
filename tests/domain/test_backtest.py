"""The back-test: nothing of the future, levels by rule, coverage and errors counted as they are."""

from dataclasses import replace

import numpy as np
import pytest

from tests.domain.dryings import START_S, drying
from traywarden.domain.backtest import History, Judged, backtest, judged, score
from traywarden.domain.drying import Drying
from traywarden.domain.foresight import remember
from traywarden.domain.outlook_cases import Cases, cases_before, levels_reached, rolling_cases
from traywarden.domain.series import FloatArray

DAY_S = 86400.0


def garden(count: int = 8, noise: float = 0.004, spread: float = 0.2, seed: int = 1) -> list[Drying]:
    """Dry-downs of five days one after the other, each with a time constant of its own."""
    random = np.random.default_rng(seed)
    return [
        drying(
            120,
            60.0 * float(np.exp(spread * random.normal())),
            strength=float(np.exp(0.2 * random.normal())),
            noise=noise,
            seed=n,
            start_s=START_S + n * 6 * DAY_S,
        )
        for n in range(count)
    ]


def test_the_future_altered_changes_no_outlook() -> None:
    """Every outlook asked before an instant stays the same, whatever moisture and weather do after it."""
    dryings = garden()
    rolling, before = judged([History("A", "mix", dryings)], -np.inf, 0)
    cut_s = dryings[5].hour_s[60]
    changed = [
        *dryings[:5],
        altered(dryings[5], 60),
        *(drying(120, 500.0, start_s=d.hour_s[0]) for d in dryings[6:]),
    ]
    again, again_before = judged([History("A", "mix", changed)], -np.inf, 0)
    seen = 0
    for one, other in zip([*rolling, *before], [*again, *again_before], strict=True):
        early = {(a, round(m, 3)): (f, low, high) for a, m, f, low, high in rows(one) if a <= cut_s}
        for a, m, f, low, high in rows(other):
            if a <= cut_s and (a, round(m, 3)) in early:
                assert early[a, round(m, 3)] == pytest.approx((f, low, high), nan_ok=True)
                seen += 1
    assert seen > 200


def rows(one: Judged) -> list[tuple[float, float, float, float, float]]:
    c = one.cases
    return list(zip(c.asked_s, c.level_m3_m3, c.foreseen_h, one.low_h, one.high_h, strict=True))


def altered(made: Drying, at: int) -> Drying:
    """The same until an hour; then it falls four times as fast under another sky."""
    moisture, demand = made.moisture_m3_m3.copy(), made.demand.copy()
    moisture[at:] = np.maximum(moisture[at] - 4 * (moisture[at] - moisture[at:]), 0.06)
    demand[at:] = 3.0
    ahead = made.demand_ahead.copy()
    ahead[at:] = 3.0
    return replace(made, moisture_m3_m3=moisture, demand=demand, demand_ahead=ahead)


def test_levels_are_every_hundredth_in_the_upper_four_fifths_of_the_fall() -> None:
    hours = np.arange(300.0)
    even = Drying(hours * 3600, 0.50 - hours / 1000, hours * 0, np.ones(300), np.ones((300, 24)))
    levels, reached = levels_reached(even, 1)
    # Falls from 0.5 to 0.201: four fifths of the way is 0.261.
    assert levels == pytest.approx(np.arange(0.265, 0.5, 0.01))
    assert reached == pytest.approx((0.50 - levels) * 1000 + 0.5)
    small = Drying(hours * 3600, 0.50 - hours / 11_000, hours * 0, np.ones(300), np.ones((300, 24)))
    assert levels_reached(small)[0].size == 0


def test_the_plain_ways_do_what_they_say() -> None:
    """Even falls: going on at the last day's rate is exact, and last time took twice as long."""
    hours = np.arange(200.0)
    fast = Drying(hours * 3600 + 9e6, 0.5 - hours / 600, hours * 0, np.ones(200), np.ones((200, 24)))
    slow = Drying(hours * 3600, 0.5 - hours / 1200, hours * 0, np.ones(200), np.ones((200, 24)))
    cases = cases_before(fast, 24.0, [remember(slow)])
    use = np.isfinite(cases.last_time_h)
    assert cases.true_h == pytest.approx(24.0)
    known = np.isfinite(cases.same_rate_h)
    assert known.sum() > 10
    assert cases.same_rate_h[known] == pytest.approx(24.0, abs=0.1)
    assert cases.last_time_h[use] == pytest.approx(48.0, abs=4.0)
    still = Drying(hours * 3600, np.full(200, 0.5), hours * 0, np.ones(200), np.ones((200, 24)))
    assert levels_reached(still)[0].size == 0


def test_an_outlook_rests_on_whole_hours_before_the_asking() -> None:
    [made] = garden(1)
    cases = rolling_cases(made)
    assert np.all((cases.asked_s - made.hour_s[0]) % (6 * 3600) == 0)
    assert np.all(cases.true_h > 0)
    assert np.all(cases.true_h <= 168)


def _cases(true: FloatArray, foreseen: FloatArray, rate: FloatArray) -> Cases:
    blank = np.zeros(true.size)
    return Cases(blank, blank, true, foreseen, rate, np.full(true.size, np.nan))


def test_a_score_counts_what_lies_inside_before_and_after_and_how_far_off() -> None:
    """Four cases of 10 h foreseen at 9, 12, 15 and not at all; going on at the rate never, 20, 5 and 1 h."""
    true, foreseen = np.full(4, 10.0), np.array([9.0, 12.0, 15.0, np.nan])
    cases = _cases(true, foreseen, np.array([np.inf, 20.0, 5.0, 1.0]))
    low, high = np.array([8.0, 11.0, 4.0, np.nan]), np.array([11.0, 20.0, 9.0, np.nan])
    found = score([Judged("A", cases, low, high, np.full(4, 40.0))])
    assert (found.cases, found.unanswered, found.dry_downs) == (3, 1, 1)
    assert (found.coverage, found.sooner, found.later) == pytest.approx((1 / 3, 1 / 3, 1 / 3))
    assert found.median_error == pytest.approx(0.2)
    assert found.median_error_of_dry_down == pytest.approx(0.05)
    assert found.bias == pytest.approx(0.2)
    assert found.same_rate_error == pytest.approx(1.0)  # of ∞, 1 and ½ the middle one
    assert found.same_rate_ratio == pytest.approx(5.0)
    assert found.last_time_error is None
    # Koenker & Bassett: τ·(y − q) above and (1 − τ)·(q − y) below, at 10, 50 and 90 %.
    losses = [0.1 * 2, 0.9 * 1, 0.1 * 6, 0.5 * 1, 0.5 * 2, 0.5 * 5, 0.1 * 1, 0.1 * 10, 0.9 * 1]
    assert found.pinball == pytest.approx(sum(losses) / 9 / 10)


def test_nothing_judged_gives_a_score_of_nothing() -> None:
    assert score([]).coverage is None
    assert backtest([History("A", "mix", [])]).rolling.cases == 0
    none = score([Judged("A", _cases(*[np.array([np.nan])] * 3), *[np.array([np.nan])] * 3)])
    assert (none.cases, none.unanswered) == (0, 1)


def test_a_garden_that_keeps_its_ways_is_foretold_well_and_held_as_often_as_promised() -> None:
    """Forty dry-downs whose time constants scatter by 20 %: the later half is judged."""
    dryings = garden(40)
    found = backtest([History("A", "mix", dryings)], float(dryings[20].hour_s[0]))
    assert found.rolling.coverage is not None
    assert found.rolling.median_error is not None
    assert found.day_before.median_error is not None
    assert 0.72 < found.rolling.coverage < 0.93
    assert found.rolling.median_error < 0.15
    assert found.day_before.median_error < 0.15
    assert found.rolling.same_rate_ratio is not None
    assert found.rolling.last_time_ratio is not None
    assert found.rolling.same_rate_ratio > 1.5
    assert found.rolling.last_time_ratio > 1.2


def test_dry_downs_before_the_span_are_learnt_from_and_not_judged() -> None:
    dryings = garden(10)
    late = backtest([History("A", "mix", dryings)], float(dryings[8].hour_s[0]))
    alone = backtest([History("A", "mix", dryings[8:])])
    assert late.rolling.dry_downs == alone.rolling.dry_downs == 2
    assert late.rolling.pinball is not None
    assert alone.rolling.pinball is not None
    assert late.rolling.pinball < alone.rolling.pinball


def test_a_second_tray_of_the_mix_helps_the_first_dry_down_of_another() -> None:
    ours, theirs = garden(1, seed=3), [drying(120, 60.0, start_s=START_S - 9 * DAY_S)]
    together = backtest([History("A", "mix", ours), History("B", "mix", theirs)], START_S)
    apart = backtest([History("A", "mix", ours), History("B", "another", theirs)], START_S)
    assert together.rolling.unanswered < apart.rolling.unanswered
