"""The week's report by schedule: made once at its hour, told with the address, whatever dies in between."""

import shutil
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from tests.services.little_garden import little_garden
from tests.services.watched_garden import DrivenClock, MemoryChannel
from traywarden.domain.notices import Notice, NoticeState
from traywarden.errors import StoreError
from traywarden.services.deliver import Deliver
from traywarden.services.questions.ground import ground
from traywarden.services.questions.notices import ask_notices
from traywarden.services.questions.week import ask_week
from traywarden.services.week_by_schedule import (
    WeekBySchedule,
    attachment_of,
    due_week,
    notice_id,
    week_path,
)
from traywarden.settings import Settings, load
from traywarden.store import garden as garden_store
from traywarden.store import hushes as hush_store
from traywarden.store import notices as notice_store
from traywarden.store.store import Store
from traywarden.web.week import week_file

ZONE = ZoneInfo("Europe/Lisbon")
SUNDAY = date(2026, 3, 15)


def at_ms(words: str) -> int:
    return round(datetime.fromisoformat(words).replace(tzinfo=ZONE).timestamp() * 1000)


def scheduled(home: Path, day: str = "Sunday", hour: int = 18, **more: object) -> Settings:
    overrides = {"week.day": day, "week.hour": hour} | {k.replace("__", "."): v for k, v in more.items()}
    return load(home, environ={}, overrides=overrides)


@pytest.fixture(scope="module")
def little_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("little")
    little_garden(home).store.close()
    return home


@pytest.fixture
def home(little_home: Path, tmp_path: Path) -> Path:
    shutil.copytree(little_home, tmp_path / "home")
    return tmp_path / "home"


@pytest.fixture
def store(home: Path) -> Iterator[Store]:
    with Store.open(load(home, environ={}).store_url) as opened:
        yield opened


def notices(store: Store) -> list[Notice]:
    with store.read() as tx:
        return notice_store.listed(tx, 100)


@pytest.mark.parametrize(
    ("now", "day", "hour", "last"),
    [
        ("2026-03-15T17:59", "Sunday", 18, None),
        ("2026-03-15T18:00", "Sunday", 18, "2026-03-15"),
        ("2026-03-15T07:00", "Sunday", 7, "2026-03-14"),  # before noon: the whole days before
        ("2026-03-15T23:59", "Sunday", 12, "2026-03-15"),
        ("2026-03-17T17:59", "Sunday", 18, "2026-03-15"),  # the host was off for two days
        ("2026-03-17T18:01", "Sunday", 18, None),
        ("2026-03-16T06:00", "Monday", 7, None),
        ("2026-03-29T02:30", "Sunday", 1, "2026-03-28"),  # the hour that the clocks skip in Lisbon
        ("2026-03-15T18:00", "never", 18, None),
    ],
)
def test_a_report_is_due_from_its_hour_in_the_gardens_time(
    home: Path, now: str, day: str, hour: int, last: str | None
) -> None:
    found = due_week(scheduled(home, day, hour), at_ms(now), ZONE)
    assert (found and str(found)) == last


def test_it_is_told_once_with_the_summary_and_where_the_whole_lies(home: Path, store: Store) -> None:
    settings, clock = scheduled(home), DrivenClock(at_ms("2026-03-15T17:00"))
    woken: list[bool] = []
    weekly = WeekBySchedule(
        store, settings, clock, week_file=week_file, after_write=lambda: woken.append(True)
    )
    assert weekly.look() is None
    clock.ms = at_ms("2026-03-15T18:01")
    assert weekly.look() == SUNDAY
    assert weekly.look() is None
    (notice,) = notices(store)
    with store.read() as tx:
        garden = garden_store.the_garden(tx)
        assert garden is not None
        answer = ask_week(ground(tx, garden, settings, clock.ms), SUNDAY)
    assert notice.title == "The week to Sunday 15 March"
    assert (notice.channel, notice.severity, notice.state) == ("console", "info", NoticeState.WAITING)
    assert answer.sentence in notice.body
    assert answer.comparisons[0].sentence in notice.body
    assert "http://localhost:8470/week?ending=2026-03-15" in notice.body
    assert str(week_path(home, SUNDAY)) in notice.body
    assert week_path(home, SUNDAY).read_text().startswith("<!doctype html>")
    assert woken == [True]
    with store.read() as tx:
        assert ask_notices(tx, 10, with_sent=True)


def test_while_all_is_hushed_and_in_the_quiet_hours_it_waits(home: Path, store: Store) -> None:
    at = at_ms("2026-03-15T18:00")
    with store.write() as tx:
        hush_store.put(tx, None, None, at - 1, at + 3_600_000, "Ana", "")
    quiet: dict[str, Any] = {"notices__quiet_from": "19:30", "notices__quiet_until": "06:30"}
    settings = scheduled(home, **quiet)
    for words, told in (("18:00", 0), ("20:00", 0), ("19:10", 1)):
        clock = DrivenClock(at_ms(f"2026-03-15T{words}"))
        WeekBySchedule(store, settings, clock).look()
        assert len(notices(store)) == told, words


def test_it_goes_over_the_channels_of_settings_that_were_changed_meanwhile(home: Path, store: Store) -> None:
    clock = DrivenClock(at_ms("2026-03-15T18:01"))
    weekly = WeekBySchedule(store, scheduled(home), clock)
    weekly.take(scheduled(home, notices__console=False, notices__mqtt=True))
    assert weekly.look() == SUNDAY
    assert [notice.channel for notice in notices(store)] == ["mqtt"]


def test_the_address_that_notices_carry_is_the_reports_too(home: Path, store: Store) -> None:
    settings = scheduled(home, notices__address="http://bench.example:8470/")
    WeekBySchedule(store, settings, DrivenClock(at_ms("2026-03-15T18:01"))).look()
    assert "http://bench.example:8470/week?ending=2026-03-15" in notices(store)[0].body


def test_a_new_start_makes_nothing_twice_and_another_week_is_another(home: Path, store: Store) -> None:
    settings, clock = scheduled(home, hour=12), DrivenClock(at_ms("2026-03-15T12:30"))
    for _ in range(3):
        WeekBySchedule(store, settings, clock).look()
    assert [n.notice_id for n in notices(store)] == [notice_id(SUNDAY, "console")]
    clock.ms = at_ms("2026-03-22T12:30")
    WeekBySchedule(store, settings, clock).look()
    assert len(notices(store)) == 2


def test_killed_before_its_notice_was_written_it_is_made_again(
    home: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings, clock = scheduled(home), DrivenClock(at_ms("2026-03-15T18:01"))

    def dies(*_: object) -> None:
        raise StoreError("The disk is full.")

    with monkeypatch.context() as patched:
        patched.setattr(notice_store, "put", dies)
        with pytest.raises(StoreError):
            WeekBySchedule(store, settings, clock, week_file=week_file).look()
    assert notices(store) == []
    assert week_path(home, SUNDAY).is_file()
    assert WeekBySchedule(store, settings, clock, week_file=week_file).look() == SUNDAY


def test_a_page_that_cannot_be_made_keeps_nobody_from_the_summary(home: Path, store: Store) -> None:
    def fails(*_: object) -> str:
        raise ValueError("no picture")

    clock = DrivenClock(at_ms("2026-03-15T18:01"))
    WeekBySchedule(store, scheduled(home), clock, week_file=fails).look()
    (notice,) = notices(store)
    assert "Kept as" not in notice.body
    assert attachment_of(home, notice.notice_id) is None


def test_the_channel_gets_the_file_with_its_notice_and_no_other(home: Path, store: Store) -> None:
    settings, clock = scheduled(home), DrivenClock(at_ms("2026-03-15T18:01"))
    WeekBySchedule(store, settings, clock, week_file=week_file).look()
    channel = MemoryChannel()
    Deliver(store, settings, clock, {"console": channel}).send_due()
    (message,) = channel.got
    assert message.attachment == week_path(home, SUNDAY)
    assert notices(store)[0].state is NoticeState.SENT
    for other in ("abc123", "week-2026-13-99-abcdef", "week-../../x-abcdef", f"{notice_id(SUNDAY, 'x')}0"):
        assert attachment_of(home, other) is None


def test_without_readings_nothing_is_told_and_it_is_tried_again(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    clock = DrivenClock(at_ms("2026-03-15T18:01"))
    weekly = WeekBySchedule(made.store, scheduled(tmp_path), clock)
    assert weekly.look() is None
    assert notices(made.store) == []
    made.store.close()
