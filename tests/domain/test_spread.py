"""An 80 % interval holds four times in five, from the garden's own misses and a stated first guess."""

import numpy as np
import pytest

from traywarden.domain.spread import NOTHING_LEARNT, Learning, spread_of

DAY_S = 86400.0


def test_before_anything_was_learnt_it_is_a_factor_of_two() -> None:
    """Six hours are added on both sides: 42 + 6 is twice 18 + 6, and 6 + 6 half of it."""
    low, high = NOTHING_LEARNT.interval_h([18.0, 0.0])
    assert low == pytest.approx([6.0, 0.0], abs=0.1)
    assert high == pytest.approx([42.0, 6.0], abs=0.1)


@pytest.mark.parametrize("spread", [0.1, 0.3, 0.8])
def test_four_in_five_of_new_outlooks_lie_inside_after_many_dry_downs(spread: float) -> None:
    """Misses drawn at random, each dry-down with a bias of its own; 300 to learn from and 300 to judge."""
    random = np.random.default_rng(3)

    def dry_down() -> tuple[np.ndarray, np.ndarray]:
        foreseen = np.exp(random.uniform(np.log(4), np.log(150), 40))
        miss = spread * (0.7 * random.normal() + 0.7 * random.normal(size=40))
        return foreseen, np.maximum((foreseen + 6) * np.exp(miss) - 6, 0.1)

    known = Learning()
    for n in range(300):
        known.add(n * 3600.0, 0, spread_of(*dry_down()))
    held = []
    for _ in range(300):
        foreseen, true = dry_down()
        low, high = known.at(300 * 3600.0, 0).interval_h(foreseen)
        held.append(np.mean((low <= true) & (true <= high)))
    assert np.mean(held) == pytest.approx(0.8, abs=0.06)


def test_a_bias_of_the_garden_moves_the_interval() -> None:
    """Outlooks of this garden always came true at twice the time foretold."""
    known = Learning()
    for n in range(30):
        known.add(n * 3600.0, 0, spread_of(np.full(20, 48.0), np.full(20, 96.0)))
    low, high = known.at(30 * 3600.0, 0).interval_h([48.0])
    assert low[0] > 80
    assert 90 < high[0] < 105


def test_a_weeks_misses_do_not_set_the_interval_of_a_few_hours() -> None:
    known = Learning()
    for n in range(40):
        known.add(n * 3600.0, 0, spread_of(np.full(10, 10.0), np.full(10, 10.0)))
        known.add(n * 3600.0, 0, spread_of(np.full(10, 150.0), np.linspace(75.0, 300.0, 10)))
    low, high = known.at(40 * 3600.0, 0).interval_h([10.0, 150.0])
    assert high[0] - low[0] < 6
    assert high[1] - low[1] > 120


def test_what_is_a_month_old_counts_half_and_another_trays_a_quarter() -> None:
    known = Learning()
    known.add(0.0, 0, spread_of([10.0], [10.0]))
    assert known.at(0.0, 0).dry_downs == pytest.approx(1.0)
    assert known.at(0.0, 1).dry_downs == pytest.approx(0.25)
    assert known.at(30 * DAY_S, 0).dry_downs == pytest.approx(0.5)
    assert spread_of([], []).dry_downs == 0


def test_an_interval_never_begins_before_now_and_lies_about_what_was_foreseen() -> None:
    foreseen = np.array([0.0, 0.5, 3.0, 40.0, 400.0])
    low, high = NOTHING_LEARNT.interval_h(foreseen)
    assert np.all(low >= 0)
    assert np.all(low <= foreseen)
    assert np.all(high >= foreseen)
