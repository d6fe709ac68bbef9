"""Running time becomes dates: drift is spread between syncs, and nothing is invented before the first."""

from hypothesis import assume, given
from hypothesis import strategies as st

from probe.clock import (
    BASELINE_MS,
    EARLIEST_MS,
    FAR_MS,
    FURTHEST_MS,
    MOST_PAST,
    MOST_POINTS,
    WIDEST_MS,
    Clock,
    unpack,
)

START_MS = 1_760_000_000_000
HOUR_MS = 3_600_000
drifts = st.integers(-50_000, 50_000)


def mark_of(true_ms: int, drift_ppm: int) -> int:
    """What this board's timer shows so long after power-up."""
    return true_ms + true_ms * drift_ppm // 1_000_000


def said(clock: Clock, boot: int, mark_ms: int, said_ms: int | None = None) -> int:
    time_ms, _ = clock.time_ms(boot, mark_ms, said_ms)
    assert time_ms is not None
    return time_ms


@given(drifts, st.lists(st.integers(1, 72), min_size=2, max_size=40), st.integers(0, 10**6))
def test_between_syncs_a_drift_of_5_percent_leaves_no_error(drift: int, hours: list[int], part: int) -> None:
    clock = Clock(1)
    true_ms = 0
    for span in hours:
        true_ms += span * HOUR_MS
        assert clock.sync(mark_of(true_ms, drift), START_MS + true_ms) == ""
    begin_ms = hours[0] * HOUR_MS
    at_ms = begin_ms + (true_ms - begin_ms) * part // 10**6
    assert abs(said(clock, 1, mark_of(at_ms, drift)) - START_MS - at_ms) <= 1000


@given(drifts)
def test_after_two_syncs_the_rate_is_known_ahead_and_back(drift: int) -> None:
    clock = Clock(1)
    for true_ms in (10 * HOUR_MS, 11 * HOUR_MS):
        clock.sync(mark_of(true_ms, drift), START_MS + true_ms)
    for true_ms in (0, 5 * HOUR_MS, 35 * HOUR_MS):
        assert abs(said(clock, 1, mark_of(true_ms, drift)) - START_MS - true_ms) <= 1000


@given(drifts, drifts)
def test_a_drift_that_changes_is_spread_evenly_over_the_span_it_changed_in(one: int, two: int) -> None:
    clock = Clock(1)
    mark_ms = mark_of(HOUR_MS, one)
    clock.sync(0, START_MS)
    clock.sync(mark_ms, START_MS + HOUR_MS)
    mark_ms += mark_of(HOUR_MS, two)
    clock.sync(mark_ms, START_MS + 2 * HOUR_MS)
    for minutes in range(0, 61, 10):
        at_ms = minutes * 60_000
        assert abs(said(clock, 1, mark_of(at_ms, one)) - START_MS - at_ms) <= 1000
        late_mark_ms = mark_of(HOUR_MS, one) + mark_of(at_ms, two)
        assert abs(said(clock, 1, late_mark_ms) - START_MS - HOUR_MS - at_ms) <= 1000


@given(drifts, st.lists(st.integers(0, 50 * HOUR_MS), min_size=2, max_size=30))
def test_dates_never_run_backwards(drift: int, marks: list[int]) -> None:
    clock = Clock(1)
    for true_ms in (7 * HOUR_MS, 8 * HOUR_MS, 20 * HOUR_MS):
        clock.sync(mark_of(true_ms, drift), START_MS + true_ms)
    dates = [said(clock, 1, mark_ms) for mark_ms in sorted(marks)]
    assert dates == sorted(dates)


def test_before_the_first_sync_there_is_an_age_and_no_date() -> None:
    clock = Clock(1)
    assert clock.time_ms(1, 5000) == (None, False)
    assert clock.age_ms(1, 5000, 9000) == (4000, False)
    assert clock.age_ms(1, 5000, 5001 + FAR_MS) == (1 + FAR_MS, True)
    assert clock.age_of_sync_ms(9000) is None


def test_one_late_sync_wants_a_second_before_much_older_instants_are_dated() -> None:
    clock = Clock(1)
    clock.sync(2 * HOUR_MS, START_MS)
    assert clock.waits_ms(1, 0) == BASELINE_MS
    assert clock.waits_ms(1, 2 * HOUR_MS - FAR_MS) == 0
    clock.sync(2 * HOUR_MS + BASELINE_MS, START_MS + BASELINE_MS)
    assert clock.waits_ms(1, 0) == 0


def test_an_earlier_boot_with_one_sync_waits_for_a_second_in_this_one() -> None:
    clock = Clock(1)
    clock.sync(2 * HOUR_MS, START_MS)
    clock.start_boot(2, 3 * HOUR_MS)
    assert clock.waits_ms(1, 0) == 0, "without a sync in this boot no date would come of waiting"
    clock.sync(0, START_MS + 9 * HOUR_MS)
    assert clock.waits_ms(1, 0) == BASELINE_MS
    assert clock.waits_ms(1, 3 * HOUR_MS) == BASELINE_MS, "after its sync, too"
    clock.sync(BASELINE_MS, START_MS + 9 * HOUR_MS + BASELINE_MS)
    assert clock.waits_ms(1, 0) == 0
    assert not clock.time_ms(1, 0)[1]


def test_far_from_the_only_sync_a_date_is_unsure_until_the_rate_is_known() -> None:
    clock = Clock(1)
    clock.sync(HOUR_MS, START_MS)
    assert clock.time_ms(1, HOUR_MS + FAR_MS) == (START_MS + FAR_MS, False)
    assert clock.time_ms(1, HOUR_MS + FAR_MS + 1)[1]
    assert clock.time_ms(1, HOUR_MS - FAR_MS - 1)[1]
    clock.sync(2 * HOUR_MS, START_MS + HOUR_MS)
    assert not clock.time_ms(1, 0)[1]
    assert not clock.time_ms(1, 20 * HOUR_MS)[1]


@given(drifts, st.integers(-10, 10), st.integers(0, 72 * HOUR_MS), st.integers(0, 14 * HOUR_MS))
def test_a_sure_date_is_right_though_syncs_are_half_a_second_out_and_the_rate_moves(
    drift: int, moved: int, before_ms: int, apart_ms: int
) -> None:
    """The rate moves by up to 10 parts in 100,000 from before the first sync to after it."""
    clock = Clock(1)
    mark_ms = mark_of(before_ms, drift)
    clock.sync(mark_ms, START_MS + before_ms + 500)
    clock.sync(mark_ms + mark_of(apart_ms, drift + 10 * moved), START_MS + before_ms + apart_ms - 500)
    time_ms, unsure = clock.time_ms(1, 0)
    assert time_ms is not None
    assert unsure or abs(time_ms - START_MS) <= 30_000


@given(st.integers(0, 72 * HOUR_MS))
def test_what_waits_is_sure_once_it_has_waited(before_ms: int) -> None:
    clock = Clock(1)
    clock.sync(before_ms, START_MS)
    begin_ms = max(0, before_ms - FURTHEST_MS)
    waits_ms = clock.waits_ms(1, 0)
    assert waits_ms <= WIDEST_MS
    if waits_ms:
        assert clock.time_ms(1, begin_ms)[1]
        clock.sync(before_ms + waits_ms, START_MS + waits_ms)
    assert not clock.time_ms(1, begin_ms)[1]
    assert clock.waits_ms(1, 0) == 0


def test_the_rate_that_was_seen_for_hours_outlives_a_new_boot_s_first_minutes() -> None:
    clock = Clock(1)
    for hour in range(9):
        clock.sync(mark_of(hour * HOUR_MS, 20_000), START_MS + hour * HOUR_MS)
    clock.start_boot(2, 9 * HOUR_MS)
    clock.sync(24 * HOUR_MS, START_MS + 40 * HOUR_MS)
    clock.sync(24 * HOUR_MS + mark_of(600_000, 20_000), START_MS + 40 * HOUR_MS + 600_000 + 900)
    time_ms, unsure = clock.time_ms(2, 24 * HOUR_MS - mark_of(10 * HOUR_MS, 20_000))
    assert time_ms is not None
    assert abs(time_ms - START_MS - 30 * HOUR_MS) < 2000
    assert not unsure


def test_an_impossible_date_is_refused() -> None:
    clock = Clock(1)
    assert clock.sync(0, EARLIEST_MS - 1) == "the time server says an impossible date"
    assert not clock.synced()


def test_a_clock_that_was_set_is_not_taken_for_drift() -> None:
    clock = Clock(1)
    clock.sync(0, START_MS)
    clock.sync(HOUR_MS, START_MS + HOUR_MS)
    assert "out" in clock.sync(2 * HOUR_MS, START_MS + 30 * HOUR_MS)
    assert clock.ppm == 0
    assert said(clock, 1, 2 * HOUR_MS) == START_MS + 30 * HOUR_MS


def test_how_far_it_was_out_is_reported() -> None:
    clock = Clock(1)
    clock.sync(0, START_MS)
    clock.sync(HOUR_MS, START_MS + HOUR_MS + 7000)
    assert clock.corrected_ms == 7000
    assert clock.ppm == 7000 * 10**6 // HOUR_MS


def test_an_earlier_boot_is_dated_by_its_own_syncs() -> None:
    clock = Clock(4)
    clock.sync(0, START_MS)
    clock.sync(10 * HOUR_MS, START_MS + 10 * HOUR_MS + 36_000)
    clock.start_boot(5, 12 * HOUR_MS)
    clock.sync(HOUR_MS, START_MS + 99 * HOUR_MS)
    assert clock.time_ms(4, 5 * HOUR_MS, 1) == (START_MS + 5 * HOUR_MS + 18_000, False)


def test_a_boot_that_never_knew_the_date_is_bridged_and_called_unsure() -> None:
    clock = Clock(4)
    clock.start_boot(5, 12 * HOUR_MS)
    assert clock.time_ms(4, 11 * HOUR_MS) == (None, True)
    assert clock.age_ms(4, 11 * HOUR_MS, 3 * HOUR_MS) == (4 * HOUR_MS, True)
    clock.sync(2 * HOUR_MS, START_MS)
    assert clock.time_ms(4, 11 * HOUR_MS) == (START_MS - 3 * HOUR_MS, True)


def test_several_dark_boots_are_bridged_one_after_the_other() -> None:
    clock = Clock(4)
    clock.start_boot(5, 2 * HOUR_MS)
    clock.start_boot(6, None)  # nothing of boot 5 reached flash
    clock.start_boot(7, None)
    clock.past.append((6, HOUR_MS, []))
    clock.sync(0, START_MS)
    assert clock.time_ms(4, HOUR_MS) == (START_MS - 2 * HOUR_MS, True)
    assert clock.time_ms(6, HOUR_MS) == (START_MS, True)


@given(st.lists(st.tuples(st.integers(500, 10**7), st.integers(-40, 40)), max_size=80), st.integers(0, 9))
def test_the_clock_comes_back_as_it_was(syncs: list[tuple[int, int]], boots: int) -> None:
    clock = Clock(3)
    mark_ms = 0
    for boot in range(boots):
        clock.sync(HOUR_MS, START_MS)
        clock.start_boot(4 + boot, 2 * HOUR_MS)
    for step_ms, jitter_ms in syncs:
        mark_ms += step_ms
        clock.sync(mark_ms, START_MS + mark_ms + jitter_ms)
    assume(len(clock.pack(True)) > 0)
    assert len(clock.points) <= MOST_POINTS
    assert len(clock.past) <= MOST_PAST
    whole = unpack(clock.pack(True))
    assert whole is not None
    assert vars(whole) == vars(clock)
    small = unpack(clock.pack(False))
    assert small is not None
    assert len(clock.pack(False)) <= 50
    assert small.ppm == clock.ppm
    if clock.points:
        assert small.points[-1] == clock.points[-1]


def test_a_week_of_hourly_syncs_with_nothing_delivered_still_dates_its_beginning() -> None:
    clock = Clock(1)
    for hour in range(24 * 7):
        clock.sync(mark_of(hour * HOUR_MS, 40_000), START_MS + hour * HOUR_MS)
    assert len(clock.points) == MOST_POINTS
    assert abs(said(clock, 1, mark_of(HOUR_MS // 2, 40_000)) - START_MS - HOUR_MS // 2) <= 1000


def test_syncs_that_nothing_needs_are_forgotten_but_the_rate_is_kept() -> None:
    clock = Clock(1)
    for hour in range(10):
        clock.sync(mark_of(hour * HOUR_MS, 10_000), START_MS + hour * HOUR_MS)
    clock.forget(1, mark_of(20 * HOUR_MS, 10_000))
    assert len(clock.points) == 2
    assert clock.ppm is not None
    assert abs(said(clock, 1, mark_of(12 * HOUR_MS, 10_000)) - START_MS - 12 * HOUR_MS) <= 1000


def test_bytes_of_another_firmware_are_no_clock() -> None:
    assert unpack(b"") is None
    assert unpack(bytes(60)) is None
