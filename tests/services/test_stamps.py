"""Stamps become the right instants, through holes, folds and every format."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from traywarden.services.stamps import NO_TIME, Fate, WallClock, offset_s_from, read_stamps


def ms(text: str) -> int:
    """UTC, by the standard library."""
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


@pytest.mark.parametrize(
    ("text", "pattern", "utc"),
    [
        ("2022-06-01 00:30:00+00:00", "iso", "2022-06-01T00:30"),
        ("2022-06-01T00:30:00Z", "iso", "2022-06-01T00:30"),
        ("2022-06-01T00:30:00-06:00", "iso", "2022-06-01T06:30"),
        ("2022-06-01T00:30:15.250+0530", "iso", "2022-05-31T19:00:15.250"),
        ("31/12/2022 23:59", "%d/%m/%Y %H:%M", "2022-12-31T23:59"),
        ("2/1/2022 0:04", "%m/%d/%Y %H:%M", "2022-02-01T00:04"),
        ("02-Jan-22 3:04:05 PM", "%d-%b-%y %I:%M:%S %p", "2022-01-02T15:04:05"),
        ("1654043400", "epoch s", "2022-06-01T00:30"),
        ("1654043400.5", "epoch s", "2022-06-01T00:30:00.500"),
        ("1654043400123", "epoch ms", "2022-06-01T00:30:00.123"),
        ("01/06/2022 02:30 +0200", "%d/%m/%Y %H:%M %z", "2022-06-01T00:30"),
        ("1969-12-31 23:59:59", "iso", "1969-12-31T23:59:59"),
    ],
)
def test_every_format_gives_the_instant_it_says(text: str, pattern: str, utc: str) -> None:
    times, _ = read_stamps([text], pattern)
    assert times.tolist() == [ms(utc)]


@pytest.mark.parametrize("pattern", ["iso", "%d/%m/%Y %H:%M", "epoch s", "epoch ms"])
@pytest.mark.parametrize("text", ["", "yesterday", "31/31/2022 00:00", "2022-13-01", "nan", "1e300", "12:60"])
def test_what_is_no_stamp_has_no_time(text: str, pattern: str) -> None:
    assert read_stamps([text], pattern)[0].tolist() == [NO_TIME]


def test_a_column_may_mix_stamps_with_and_without_an_offset() -> None:
    times, aware = read_stamps(["2022-06-01 12:00", "2022-06-01 12:00+02:00", "?"], "iso")
    assert times.tolist() == [ms("2022-06-01T12:00"), ms("2022-06-01T10:00"), NO_TIME]
    assert aware.tolist() == [False, True, False]


def test_a_workbooks_stamp_a_microsecond_short_is_rounded() -> None:
    assert read_stamps(["2022-06-01 08:29:59.999999"], "iso")[0].tolist() == [ms("2022-06-01T08:30")]


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("-06:00", -21600),
        ("+0530", 19800),
        ("UTC+1", 3600),
        ("Z", 0),
        ("utc", 0),
        ("+15:00", None),
        ("6", None),
    ],
)
def test_offsets_as_people_write_them(text: str, seconds: int | None) -> None:
    assert offset_s_from(text) == seconds


def walled(zone: str, *texts: str, newest_first: bool = False) -> tuple[list[int], list[Fate]]:
    clock = WallClock(ZoneInfo(zone), newest_first)
    wall_ms = np.array([ms(text) for text in texts], dtype=np.int64)
    times, fates = clock.instants(wall_ms)
    return times.tolist(), [Fate(fate) for fate in fates.tolist()]


# When clocks change: IANA time zone database. Lisbon: 27 March and 30 October 2022 at 01:00 UTC.
# Chicago: 13 March 2022 at 08:00 UTC, 6 November 2022 at 07:00 UTC.
@pytest.mark.parametrize(
    ("zone", "before", "within", "after", "after_utc"),
    [
        ("Europe/Lisbon", "2022-03-27T00:30", "2022-03-27T01:30", "2022-03-27T02:00", "2022-03-27T01:00"),
        ("America/Chicago", "2022-03-13T01:30", "2022-03-13T02:30", "2022-03-13T03:00", "2022-03-13T08:00"),
    ],
)
def test_an_hour_that_clocks_skip_has_no_instant(
    zone: str, before: str, within: str, after: str, after_utc: str
) -> None:
    times, fates = walled(zone, before, within, after)
    assert fates == [Fate.READ, Fate.HOLE, Fate.READ]
    assert times[0] == ms(after_utc) - 1_800_000
    assert times[1:] == [NO_TIME, ms(after_utc)]


@pytest.mark.parametrize(
    ("zone", "hour", "change_utc"),
    [
        ("Europe/Lisbon", "2022-10-30T01", "2022-10-30T01:00"),
        ("America/Chicago", "2022-11-06T01", "2022-11-06T07:00"),
    ],
)
def test_the_order_of_rows_parts_the_two_passes_of_a_repeated_hour(
    zone: str, hour: str, change_utc: str
) -> None:
    texts = [f"{hour}:{minute}" for minute in ("00", "30", "00", "30")]
    times, fates = walled(zone, *texts)
    half_hour_ms, change_ms = 1_800_000, ms(change_utc)
    assert times == [change_ms + n * half_hour_ms for n in (-2, -1, 0, 1)]
    assert fates == [Fate.FIRST_PASS, Fate.FIRST_PASS, Fate.SECOND_PASS, Fate.SECOND_PASS]


def test_hourly_rows_part_as_well_and_so_do_chunks() -> None:
    clock = WallClock(ZoneInfo("America/Chicago"))
    found = [
        int(clock.instants(np.array([ms(f"2022-11-06T{hour}:00")]))[0][0])
        for hour in ("00", "01", "01", "02")
    ]
    assert np.diff(found).tolist() == [3_600_000] * 3


def test_newest_first_turns_the_passes_round() -> None:
    texts = [
        "2022-11-06T02:00",
        "2022-11-06T01:30",
        "2022-11-06T01:00",
        "2022-11-06T01:30",
        "2022-11-06T01:00",
    ]
    times, fates = walled("America/Chicago", *texts, newest_first=True)
    assert np.diff(times).tolist() == [-1_800_000] * 4
    assert fates[1:] == [Fate.SECOND_PASS, Fate.SECOND_PASS, Fate.FIRST_PASS, Fate.FIRST_PASS]


def test_a_single_pass_is_taken_as_the_first_and_last_years_fold_is_forgotten() -> None:
    texts = ["2021-11-07T01:30", "2021-11-07T01:00", "2022-11-06T01:00", "2022-11-06T01:30"]
    _, fates = walled("America/Chicago", *texts)
    assert fates == [Fate.FIRST_PASS, Fate.SECOND_PASS, Fate.FIRST_PASS, Fate.FIRST_PASS]


def test_a_zone_that_changes_at_midnight_is_right_too() -> None:
    # Azores: 27 March 2022 at 01:00 UTC from −1 to 0, so that 00:00–01:00 is skipped.
    times, fates = walled("Atlantic/Azores", "2022-03-26T23:30", "2022-03-27T00:30", "2022-03-27T01:00")
    assert fates == [Fate.READ, Fate.HOLE, Fate.READ]
    assert [times[0], times[2]] == [ms("2022-03-27T00:30"), ms("2022-03-27T01:00")]


@pytest.mark.parametrize(
    "zone", ["Europe/Lisbon", "America/Chicago", "Asia/Kathmandu", "Australia/Lord_Howe"]
)
def test_a_whole_year_agrees_with_the_standard_library(zone: str) -> None:
    """Rows every 30 minutes of real time, as a logger on wall-clock time writes them, come back exactly."""
    instants = np.arange(ms("2022-01-01T00:00"), ms("2023-01-01T00:00"), 1_800_000)
    local = [datetime.fromtimestamp(t / 1000, ZoneInfo(zone)).replace(tzinfo=None) for t in instants.tolist()]
    times, fates = walled(zone, *(moment.isoformat() for moment in local))
    assert times == instants.tolist()
    assert Fate.HOLE not in fates
