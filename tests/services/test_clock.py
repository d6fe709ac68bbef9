"""What time it is for the host."""

import time

from traywarden.services.clock import ReadingsClock, SystemClock

DAY_MS = 86_400_000


def test_the_system_clock_is_not_moved_by_readings() -> None:
    clock = SystemClock()
    clock.observe(1 << 50)
    assert abs(clock.now_ms() - time.time() * 1000) < 60_000


def test_the_clock_of_a_recording_is_its_newest_reading_and_never_goes_back() -> None:
    clock = ReadingsClock()
    assert clock.now_ms() == 0
    for time_ms in (1000 * DAY_MS, 1002 * DAY_MS, 1001 * DAY_MS):
        clock.observe(time_ms)
    assert clock.now_ms() == 1002 * DAY_MS


def test_one_probe_with_a_wrong_clock_does_not_carry_the_garden_off() -> None:
    clock = ReadingsClock(earliest_ms=900 * DAY_MS)
    clock.observe(10 * DAY_MS)
    assert clock.now_ms() == 0
    clock.observe(1000 * DAY_MS)
    clock.observe(9000 * DAY_MS)
    assert clock.now_ms() == 1000 * DAY_MS
