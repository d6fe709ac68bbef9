"""What can still be expected of a batch is what came of others that began like it."""

from collections.abc import Sequence

import numpy as np
import pytest

from tests.figures import endings
from tests.figures.endings import CASES, batch
from traywarden.domain.still_to_come import still_to_come

EXAMPLE = (0, 0, 0, 0, 4, 17, 10, 7, 1, 0, 1, 0, 0, 0)
"""Worked example of the germinationmetrics documentation: newly up on days 1 to 14, of 50 sown."""


def expected(newly_up: Sequence[int], sown: int | None) -> float:
    days_d = tuple(float(day) for day in range(1, len(newly_up) + 1))
    return still_to_come(days_d, tuple(newly_up), sown)


def test_the_published_example_ends_when_its_seedlings_have_come() -> None:
    up_d = np.repeat(np.arange(1.0, 15.0), EXAMPLE) - 0.5
    whole = batch(50, up_d, [float(day) for day in range(1, 15)])
    finished = [day for day in range(1, 15) if whole.within(day).complete]
    assert finished == [9, 10, 11, 12, 13, 14]
    assert expected(EXAMPLE[:6], 50) > 12  # 19 came yet
    assert expected(EXAMPLE[:8], 50) == pytest.approx(2, abs=2)
    assert expected(EXAMPLE, 50) < 0.01


def test_it_is_the_mean_of_what_came_yet_of_trays_that_began_alike() -> None:
    """Trays drawn as the rule supposes; those expected to bring about as many are taken together."""
    rng = np.random.default_rng(7)
    foreseen, came = [], []
    for _ in range(4000):
        sown, share = 60, rng.random()
        spread = 0.2 * rng.choice([0.7, 1.0, 1.4, 2.0], p=[0.2, 0.4, 0.2, 0.2])
        up_d = np.exp(rng.uniform(np.log(1.0), np.log(60.0)) + spread * rng.normal(size=sown))
        up_d = up_d[rng.random(sown) < share]
        visits_d = np.arange(3.0, 10.0)
        whole = batch(sown, up_d, visits_d.tolist())
        if whole.up:
            foreseen.append(whole.to_come)
            came.append(int((up_d > visits_d[-1]).sum()))
    foreseen_n, came_n = np.array(foreseen), np.array(came)
    for low, high in ((0.0, 0.3), (0.3, 3.0), (3.0, 10.0), (10.0, 25.0)):
        alike = (foreseen_n >= low) & (foreseen_n < high)
        error = came_n[alike].std() / np.sqrt(alike.sum())
        assert alike.sum() > 100
        assert came_n[alike].mean() == pytest.approx(foreseen_n[alike].mean(), abs=3 * error + 0.05)


def test_nothing_can_come_once_every_seed_is_up_and_without_their_number_it_is_told_too() -> None:
    assert expected((0, 10, 30), 40) == 0
    assert expected(EXAMPLE[:6], None) > 5
    assert expected(EXAMPLE, None) < 0.1
    assert still_to_come((0.0, 6.0), (0, 5), 40) > 0  # a count in the minute of sowing


@pytest.mark.parametrize(
    ("kind", "early"),
    [
        ("even weather, daily", 0.06),
        ("even weather, every third day", 0.04),
        ("uneven weather, daily", 0.06),
        ("uneven weather and seeds, daily", 0.20),
    ],
)
def test_trays_are_seldom_called_finished_too_early_and_hardly_ever_never(kind: str, early: float) -> None:
    """The last count alone called 18 to 63 of 100 counted daily so; 150 runs scatter by 2 of 100."""
    found = endings.endings(CASES[kind])
    assert found.early <= early
    assert found.far_too_early <= 0.03
    assert found.never <= 0.03
    assert found.wait_d <= 4


@pytest.mark.data
def test_most_of_recorded_dishes_had_sprouted_when_called_finished() -> None:
    """By the last count alone it was 64 of 120."""
    assert endings.recorded() == (23, 3, 90, 99)
