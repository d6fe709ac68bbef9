"""What a week brought, of a garden whose weather and waterings are known exactly."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pytest

from tests.services.little_garden import (
    CAPACITY,
    DRY_LINE,
    FRAME_WARMER_C,
    NOW_MS,
    START_MS,
    WATERED_H,
    ZONE,
    LittleGarden,
    little_garden,
    moisture_m3_m3,
)
from traywarden.domain.journal import Kind
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.compare import CompareAsked, ask_compare
from traywarden.services.questions.ground import Ground, ground
from traywarden.services.questions.today import ask_today
from traywarden.services.questions.week import WeekAnswer, ask_week
from traywarden.settings import load
from traywarden.store import garden as garden_store
from traywarden.store import journal

HOUR_MS = 3_600_000
FIRST, LAST = date(2026, 3, 9), date(2026, 3, 15)  # whole days


@pytest.fixture
def little(tmp_path: Path) -> Iterator[LittleGarden]:
    made = little_garden(tmp_path)
    yield made
    made.store.close()


@contextmanager
def _ground(made: LittleGarden, home: Path) -> Iterator[Ground]:
    with made.store.read() as tx:
        garden = garden_store.the_garden(tx)
        assert garden is not None
        yield ground(tx, garden, load(home, environ={}), NOW_MS)


@pytest.fixture
def week(little: LittleGarden, tmp_path: Path) -> WeekAnswer:
    with _ground(little, tmp_path) as on:
        return ask_week(on, LAST)


def test_it_counts_the_waterings_of_its_seven_days(week: WeekAnswer) -> None:
    start_h, end_h = 7 * 24, 14 * 24
    assert (week.first_day, week.last_day) == (FIRST, LAST)
    for tray in week.trays:
        assert tray.by_hand == sum(start_h <= h < end_h for h in WATERED_H[tray.tray]), tray.tray
        assert tray.rains == 0


def test_the_driest_hour_is_the_one_before_the_next_watering_or_the_last(week: WeekAnswer) -> None:
    time_ms = np.arange(START_MS + 7 * 24 * HOUR_MS, START_MS + 14 * 24 * HOUR_MS, 600_000).astype(float)
    for tray in week.trays:
        hourly = moisture_m3_m3(tray.tray, time_ms).reshape(-1, 6).mean(axis=1)
        at = int(np.argmin(hourly))
        assert tray.driest_pct == pytest.approx(hourly[at] / CAPACITY * 100, abs=0.1)
        assert tray.driest == datetime.fromtimestamp((time_ms[0] / 1000) + at * 3600, ZONE)
        assert tray.below_line_h == pytest.approx(np.count_nonzero(hourly < DRY_LINE), abs=1)


def test_frame_against_bench_is_what_compare_says(
    little: LittleGarden, tmp_path: Path, week: WeekAnswer
) -> None:
    (found,) = week.comparisons
    with _ground(little, tmp_path) as on:
        assert found == ask_compare(on, CompareAsked("Cold frame", "Open bench", FIRST, LAST, measured="air"))
    assert found.comparison.mean_difference_c.estimate == pytest.approx(FRAME_WARMER_C, abs=0.01)


def test_lows_and_highs_are_those_of_the_weather(week: WeekAnswer) -> None:
    found = {place.place: place for place in week.places}
    assert (found["Open bench"].low_c, found["Open bench"].high_c) == pytest.approx((5.0, 15.0), abs=0.01)
    assert (found["Cold frame"].low_c, found["Cold frame"].high_c) == pytest.approx((9.0, 19.0), abs=0.01)
    assert {place.days for place in found.values()} == {7}


def test_counts_of_seedlings_and_litres_are_those_written_in_the_week(
    little: LittleGarden, tmp_path: Path
) -> None:
    day = START_MS + 9 * 24 * HOUR_MS
    with little.store.write() as tx:
        tray_id = little.tray_ids["lettuce"]
        for at_ms, count in ((day, 4), (day + 24 * HOUR_MS, 11), (day + 5 * 24 * HOUR_MS, 30)):
            journal.write(tx, Kind.EMERGED, at_ms, at_ms, tray_id=tray_id, data={"count": count})
        for hours in (0, 30):
            at_ms = day + hours * HOUR_MS
            journal.write(tx, Kind.WATERED, at_ms, at_ms, tray_id=tray_id, data={"litres": 0.7})
    with _ground(little, tmp_path) as on:
        found = {tray.tray: tray for tray in ask_week(on, LAST).trays}
    assert (found["lettuce"].counted, found["lettuce"].counted_on) == (11, date(2026, 3, 12))
    assert found["lettuce"].litres == pytest.approx(1.4)
    assert found["tomatoes"].counted is None


def test_the_sentence_tells_waterings_the_driest_tray_and_seedlings(
    little: LittleGarden, tmp_path: Path, week: WeekAnswer
) -> None:
    times = sum(tray.by_hand for tray in week.trays)
    driest = min(week.trays, key=lambda tray: tray.driest_pct or 100)
    assert f"{times} waterings by hand" in week.sentence
    assert f"the driest was {driest.tray}, at {driest.driest_pct:.0f} %" in week.sentence
    assert "seedling" not in week.sentence


def test_a_week_that_is_over_says_nothing_of_what_comes(week: WeekAnswer) -> None:
    assert week.coming == ()


def test_the_week_to_today_says_what_comes_as_today_does(little: LittleGarden, tmp_path: Path) -> None:
    with _ground(little, tmp_path) as on:
        week, today = ask_week(on), ask_today(on)
    assert week.last_day == date(2026, 3, 16)
    assert [c.subject for c in week.coming if c.subject] == [
        *(soon.tray for soon in today.soon),
        *(seed.tray for seed in today.seed),
    ]
    assert "today is in it as far as it has come" in week.remarks


def test_a_tray_counts_where_it_stood_and_what_it_held_then(little: LittleGarden, tmp_path: Path) -> None:
    with little.store.write() as tx:
        for name in ("lettuce",):
            to = little.place_ids["Cold frame"]
            journal.write(tx, Kind.MOVED, NOW_MS, NOW_MS, tray_id=little.tray_ids[name], place_id=to)
    with _ground(little, tmp_path) as on:
        found = {tray.tray: tray.place for tray in ask_week(on, LAST).trays}
    assert found["lettuce"] == "Open bench"


def test_a_day_to_come_is_refused(little: LittleGarden, tmp_path: Path) -> None:
    with _ground(little, tmp_path) as on, pytest.raises(UsageError, match="2026-03-16"):
        ask_week(on, date(2026, 3, 17))


def test_a_week_before_the_first_reading_has_no_number(little: LittleGarden, tmp_path: Path) -> None:
    with _ground(little, tmp_path) as on:
        week = ask_week(on, date(2026, 2, 10))
    assert all(t.driest_pct is t.soil_mean_c is t.below_line_h is None for t in week.trays)
    assert week.places == ()
    assert week.remarks


def test_a_garden_without_readings_says_what_comes_first(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with _ground(made, tmp_path) as on, pytest.raises(ShortOfDataError, match="no readings yet"):
        ask_week(on)
    made.store.close()
