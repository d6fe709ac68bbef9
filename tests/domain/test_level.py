"""Out of level or not: simulated trays whose heads are off by as much as real ones, and who is to blame."""

import numpy as np
import pytest

from tests.figures.level import NORTH, SOUTH, again, ended_by, lives, many, share, tray
from traywarden.domain.level import BothPlateaus, Verdict, level_of, waterings_it_takes
from traywarden.domain.signs import sign_p_value


@pytest.mark.parametrize(("below", "above", "same_scale"), [(6, 0, True), (12, 0, True), (6, 1, False),
                                                            (8, 3, False), (15, 6, False)])  # fmt: skip
def test_a_level_tray_is_hardly_ever_blamed_however_far_its_heads_are_apart(
    below: int, above: int, same_scale: bool
) -> None:
    """Meant to be 5 %; 8 % allows for 300 runs."""
    found = many(0.0, below, above, same_scale=same_scale)
    assert share(found, Verdict.OUT_OF_LEVEL) <= 0.08


@pytest.mark.parametrize(
    ("tilt_pct", "below", "above", "least"),
    [(10, 6, 1, 0.6), (10, 8, 3, 0.9), (5, 15, 6, 0.5), (15, 6, 1, 0.9)],
)
def test_a_tray_out_of_level_is_found_and_the_high_end_named(
    tilt_pct: float, below: int, above: int, least: float
) -> None:
    found = many(tilt_pct, below, above)
    assert share(found, Verdict.OUT_OF_LEVEL) >= least
    named = [each.drier for each in found if each.drier is not None]
    assert sum(side is NORTH for side in named) / len(named) >= 0.99


def test_with_both_ends_measured_often_enough_a_level_tray_is_called_level() -> None:
    assert share(many(0.0, 15, 12), Verdict.LEVEL) >= 0.5
    assert share(many(10.0, 15, 12), Verdict.LEVEL) == 0.0


def test_without_waterings_from_above_only_calibrated_heads_can_tell_and_only_large_differences() -> None:
    rng = np.random.default_rng(1)
    blind = tray(rng, 20.0, 10, 0, same_scale=False)
    assert (blind.verdict, blind.drier, blind.reference) == (Verdict.CANNOT_TELL, None, "none")
    assert "nothing tells the two heads apart" in blind.reason
    unsure = level_of(
        NORTH, SOUTH, [BothPlateaus(float(n), True, 92.0 - n % 2, 100.0) for n in range(9)], same_scale=True
    )
    assert unsure.verdict is Verdict.CANNOT_TELL
    assert unsure.signs.below == 9
    assert unsure.reason.endswith("a watering or two from above would settle it")
    sure = level_of(
        NORTH, SOUTH, [BothPlateaus(float(n), True, 72.0 - n % 2, 100.0) for n in range(9)], same_scale=True
    )
    assert sure.verdict is Verdict.OUT_OF_LEVEL
    assert sure.drier is NORTH


def test_an_offset_of_one_head_by_any_amount_changes_nothing() -> None:
    rng = np.random.default_rng(4)
    rows = [BothPlateaus(float(n), n < 8, 90.0 + rng.normal(), 100.0 + rng.normal()) for n in range(12)]
    moved = [BothPlateaus(r.at_s, r.from_below, r.a_pct + 37.0, r.b_pct) for r in rows]
    one, other = (level_of(NORTH, SOUTH, r, same_scale=False) for r in (rows, moved))
    assert one.verdict is other.verdict
    assert one.a_less_b_pct.estimate == pytest.approx(other.a_less_b_pct.estimate)


def test_exchanging_the_sides_names_the_same_one() -> None:
    rows = [BothPlateaus(float(n), n < 8, 85.0 if n < 8 else 99.0, 100.0 + n % 3) for n in range(11)]
    turned = [BothPlateaus(r.at_s, r.from_below, r.b_pct, r.a_pct) for r in rows]
    there = level_of(NORTH, SOUTH, rows, same_scale=True)
    back = level_of(SOUTH, NORTH, turned, same_scale=True)
    assert there.drier is back.drier is NORTH
    assert there.a_less_b_pct.estimate == pytest.approx(-(back.a_less_b_pct.estimate or 0.0))


@pytest.mark.parametrize(("above", "below"), [(0, 0), (1, 0), (3, 0), (4, 1), (5, 2)])
def test_so_many_more_waterings_suffice_and_one_fewer_does_not(above: int, below: int) -> None:
    more = waterings_it_takes(above, below)
    share_above = above / (above + below) if above + below else 1.0

    def p_value(number: int) -> float:
        count = above + int(number * share_above + 1e-9)
        return sign_p_value(count, above + below + number - count)

    assert p_value(more) < 0.05
    assert all(p_value(number) >= 0.05 for number in range(more))


def test_sides_that_take_turns_ask_for_no_more_waterings() -> None:
    assert waterings_it_takes(5, 5) == 0
    rows = [BothPlateaus(float(n), True, 100.0 + (6 if n % 2 else -6), 100.0) for n in range(10)]
    rows += [BothPlateaus(20.0 + n, False, 100.0, 100.0) for n in range(3)]
    found = level_of(NORTH, SOUTH, rows, same_scale=True)
    assert found.verdict is Verdict.CANNOT_TELL
    assert found.reason == "now one side is drier, now the other: there is no sign of it"
    few = level_of(NORTH, SOUTH, rows[:0], same_scale=True)
    assert few.reason == "no watering from below was seen on both sides"
    assert few.more_waterings == 6


@pytest.mark.parametrize(("tilt_pct", "least"), [(10.0, 0.8), (15.0, 0.95)])
def test_a_tray_put_level_counts_as_level_after_three_waterings_mostly(tilt_pct: float, least: float) -> None:
    told = lives(tilt_pct, 10, 4, 6, runs=60)
    assert len(told) >= 55, "of sixty that stood out of level"
    assert ended_by(told, 2) <= 0.05
    assert ended_by(told, 3) >= least
    assert again(told) <= 0.08


@pytest.mark.parametrize("tilt_pct", [10.0, 15.0])
def test_a_tray_that_stays_out_of_level_never_counts_as_put_level(tilt_pct: float) -> None:
    told = lives(tilt_pct, 16, 4, 0, runs=30)
    assert sum("Y" in each for each in told) >= 25
    assert not any("N" in each[each.find("Y") :] for each in told)
