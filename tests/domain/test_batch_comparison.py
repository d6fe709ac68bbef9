"""Two batches: what is said of them, and how often it is right."""

import pytest

from tests.figures.batches import CASES, Rates, rates, recorded
from traywarden.domain.batch_comparison import Verdict, compare_batches
from traywarden.domain.batches import DAY_MS, Batch, NewlyUp
from traywarden.domain.journal import Entry, Kind


def batch(sown: int | None, *counts: tuple[float, int], sown_ms: int = 0) -> Batch:
    """Counts as (day, up so far)."""
    new: list[NewlyUp] = []
    from_ms, before = sown_ms, 0
    for day, up in counts:
        to_ms = sown_ms + round(day * DAY_MS)
        new.append(NewlyUp(from_ms, to_ms, up - before))
        from_ms, before = to_ms, up
    return Batch(Entry(1, sown_ms, 0, Kind.SOWED), sown, tuple(new))


def test_more_and_sooner_are_called_where_chance_makes_them_rarely() -> None:
    frame = batch(100, (4, 0), (6, 30), (8, 80), (10, 90), (14, 90))
    bench = batch(100, (4, 0), (6, 0), (8, 10), (10, 45), (14, 60))
    found = compare_batches(frame, bench)
    assert found.numbers is not None
    assert found.numbers.verdict is Verdict.A
    assert found.numbers.difference.estimate == pytest.approx(0.3)
    assert found.timing.verdict is Verdict.A
    assert found.timing.sooner_d is not None
    assert 2 < found.timing.sooner_d < 3.5
    back = compare_batches(bench, frame)
    assert back.timing.verdict is Verdict.B
    assert back.timing.sooner_d == pytest.approx(-found.timing.sooner_d)


def test_a_handful_of_seeds_cannot_tell_and_says_how_many_would() -> None:
    found = compare_batches(batch(20, (6, 5), (9, 14)), batch(20, (6, 3), (9, 10)))
    assert found.numbers is not None
    assert found.numbers.verdict is Verdict.UNKNOWN
    assert found.numbers.times_more is not None
    assert found.numbers.times_more > 2
    assert found.timing.verdict is Verdict.UNKNOWN


def test_the_seeds_said_to_be_needed_find_the_difference_four_times_in_five() -> None:
    """Then the difference seen, 14 against 10 of 20, is 2.8 standard errors: P = 0.005."""
    few = compare_batches(batch(20, (6, 5), (9, 14)), batch(20, (6, 3), (9, 10))).numbers
    assert few is not None
    assert few.times_more is not None
    times = round(few.times_more)
    many = compare_batches(batch(20 * times, (9, 14 * times)), batch(20 * times, (9, 10 * times))).numbers
    assert many is not None
    assert many.difference.p_value == pytest.approx(0.005, abs=0.003)


def test_many_alike_are_called_alike() -> None:
    found = compare_batches(
        batch(400, (5, 0), (6, 150), (7, 300), (8, 360)), batch(400, (5, 0), (6, 155), (7, 296), (8, 358))
    )
    assert found.numbers is not None
    assert (found.numbers.verdict, found.timing.verdict) == (Verdict.ALIKE, Verdict.ALIKE)


def test_only_the_time_that_both_were_watched_counts() -> None:
    long_ago = batch(50, (5, 10), (8, 20), (12, 30), (30, 45))
    young = batch(50, (5, 10), (8, 20), (12, 30))
    found = compare_batches(long_ago, young)
    assert found.common_d == 12
    assert found.numbers is not None
    assert (found.numbers.a_up, found.numbers.b_up) == (30, 30)
    assert found.rising


def test_a_batch_counted_half_a_day_later_is_not_cut_short() -> None:
    found = compare_batches(batch(50, (5, 10), (12.4, 30)), batch(50, (5, 10), (12, 30)))
    assert found.numbers is not None
    assert found.numbers.a_up == 30


def test_seeds_not_known_leave_the_timing() -> None:
    found = compare_batches(batch(None, (5, 10), (8, 30)), batch(50, (5, 0), (8, 10), (12, 30)))
    assert found.numbers is None
    assert "not known of one" in found.reason
    assert found.timing.sooner_d is not None


def test_hardly_any_up_have_no_middle() -> None:
    found = compare_batches(batch(50, (5, 2)), batch(50, (5, 30)))
    assert found.timing.sooner_d is None
    assert "fewer than 3" in found.timing.reason


def test_a_batch_without_a_count_is_refused() -> None:
    with pytest.raises(ValueError, match="without a count"):
        compare_batches(batch(50), batch(50, (5, 30)))


@pytest.fixture(scope="module")
def measured() -> dict[str, Rates]:
    return {name: rates(CASES[name], runs=80) for name in CASES}


def test_chance_is_seldom_taken_for_a_difference(measured: dict[str, Rates]) -> None:
    """5 % is what the tests promise; 80 runs scatter by 2.4 of 100."""
    for name, found in measured.items():
        if name.startswith("alike"):
            assert found.times <= 0.10, name
            assert found.numbers <= 0.13, name


def test_a_real_difference_is_found_and_the_interval_holds_it(measured: dict[str, Rates]) -> None:
    for name, found in measured.items():
        assert found.held >= 0.90, name
        assert found.numbers_held >= 0.87, name
        if not name.startswith("alike"):
            assert found.right >= 0.8, name


@pytest.mark.data
def test_recorded_dishes_with_warmer_days_came_up_better_or_sooner() -> None:
    """`python -m tests.figures batches` prints the same."""
    found = compare_batches(recorded(25.0), recorded(20.0))
    assert found.numbers is not None
    assert (found.numbers.a_up, found.numbers.a_sown, found.numbers.b_up, found.numbers.b_sown) == (
        30,
        50,
        13,
        40,
    )
    assert found.numbers.verdict is Verdict.A
    assert found.timing.verdict is Verdict.UNKNOWN
    hot = compare_batches(recorded(30.0), recorded(25.0))
    assert hot.numbers is not None
    assert (hot.numbers.verdict, hot.timing.verdict) == (Verdict.UNKNOWN, Verdict.A)
    assert hot.timing.sooner_d == pytest.approx(2.67, abs=0.01)
