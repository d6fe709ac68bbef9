"""The watch on a driven clock: what opens, what closes, what is told, and what is held back."""

import time

import pytest

from tests.services.watched_garden import (
    COLD_C,
    DAY_MS,
    DRY,
    HOUR_MS,
    JUST_ABOVE,
    MINUTE_MS,
    START_MS,
    WARM_C,
    WET,
    Committed,
    WatchedGarden,
    channel,
    settings_with,
)
from traywarden.domain.journal import Kind
from traywarden.domain.notices import NoticeState
from traywarden.domain.rules import Answer
from traywarden.domain.subjects import a_tray
from traywarden.store.store import Store


@pytest.fixture
def garden(sqlite_store: Store) -> WatchedGarden:
    return WatchedGarden(sqlite_store)


def test_a_tray_below_its_dry_line_for_the_delay_opens_one_episode_and_one_notice(
    garden: WatchedGarden,
) -> None:
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=WET)
    garden.run(at, at + 30 * MINUTE_MS, moisture=DRY)
    assert garden.episodes() == []
    garden.run(at + 30 * MINUTE_MS, at + 2 * HOUR_MS, moisture=DRY)
    (episode,) = garden.episodes()
    assert (episode.episode_id, episode.opened_ms, episode.closed_ms) == (
        f"dry:tray-{garden.tray_ids['A']}:{at}",
        at,
        None,
    )
    (notice,) = garden.notices()
    assert (notice.state, notice.channel, notice.severity) == (NoticeState.WAITING, "console", "urgent")
    assert notice.title == "Water now: A (open bench)"
    assert "36 % of container capacity (0.200 m³/m³)" in notice.body
    assert "dry line of 45 % (0.250 m³/m³)" in notice.body
    assert "About 3.5 l" in notice.body  # 10 l × (0.55 − 0.20)
    assert garden.written > 0


def test_rising_to_just_above_the_line_closes_nothing_and_dipping_again_tells_nothing_new(
    garden: WatchedGarden,
) -> None:
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    garden.deliver_all()
    for hour in range(12):  # chatter around the line, inside the hold band
        at = garden.run(at, at + HOUR_MS // 2, moisture=JUST_ABOVE if hour % 2 else DRY)
    assert [e.closed_ms for e in garden.episodes()] == [None]
    assert len(garden.notices()) == 1


def test_watering_closes_the_episode_and_says_so_to_those_who_were_told(garden: WatchedGarden) -> None:
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    garden.deliver_all()
    garden.run(at, at + HOUR_MS, moisture=WET)
    (episode,) = garden.episodes()
    assert episode.closed_ms == at
    _, end = garden.notices()
    assert end.title == "Over: water now, A (open bench)"
    assert end.state is NoticeState.WAITING
    assert end.changes[0][0] == episode.episode_id


def test_an_end_is_held_until_its_beginning_has_been_told(garden: WatchedGarden) -> None:
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    at = garden.run(at, at + HOUR_MS, moisture=WET)
    garden.watch.tick()
    assert [n.state for n in garden.notices()] == [NoticeState.WAITING, NoticeState.HELD]
    assert "beginning" in garden.notices(NoticeState.HELD)[0].trouble
    garden.deliver_all()
    garden.watch.tick()
    assert [n.state for n in garden.notices()] == [NoticeState.SENT, NoticeState.WAITING]


def test_blind_never_closes_anything_and_says_why(garden: WatchedGarden) -> None:
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    key = ("dry", a_tray(garden.tray_ids["A"]))
    garden.run(at, at + 5 * HOUR_MS, moisture=None)
    assert garden.watch.answers()[key].answer is Answer.BLIND
    assert "not measured" in garden.watch.answers()[key].reason
    assert [e.closed_ms for e in garden.episodes("dry")] == [None]


def test_a_silent_head_turns_the_answer_blind_by_the_clock_and_leaves_the_episode_open(
    garden: WatchedGarden,
) -> None:
    garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    garden.clock.ms += 3 * HOUR_MS
    garden.watch.tick()
    state = garden.watch.answers()["dry", a_tray(garden.tray_ids["A"])]
    assert state.answer is Answer.BLIND
    assert state.reason == "nothing usable was measured for 3 h"
    assert [e.closed_ms for e in garden.episodes()] == [None]


def test_frozen_moisture_is_not_a_dry_tray(garden: WatchedGarden) -> None:
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=WET, soil_c=2.0)
    garden.run(at, at + 12 * HOUR_MS, moisture=0.10, soil_c=-1.0)
    assert garden.episodes("dry") == []
    assert "frozen" in garden.watch.answers()["dry", a_tray(garden.tray_ids["A"])].reason


def test_a_sown_tray_below_the_published_minimum_for_three_hours_is_too_cold(garden: WatchedGarden) -> None:
    garden.run(START_MS, START_MS + 4 * HOUR_MS, soil_c=COLD_C)
    (notice,) = garden.notices()
    assert notice.title == "Too cold: A (open bench)"
    assert notice.severity == "warning"
    for part in ("Tomato", "6.0 °C", "published minimum 10.0 °C", "Harrington", "3 h", "frame", "later"):
        assert part in notice.body


def test_fahrenheit_when_the_grower_wants_it(sqlite_store: Store) -> None:
    garden = WatchedGarden(sqlite_store, settings_with(display__temperature="F"))
    garden.run(START_MS, START_MS + 4 * HOUR_MS, soil_c=COLD_C)
    (notice,) = garden.notices()
    assert "42.8 °F" in notice.body
    assert "50.0 °F" in notice.body  # Harrington's own figure for tomato
    assert "°C" not in notice.body


@pytest.mark.parametrize(("kind", "data"), [(Kind.EMERGED, {"count": 3}), (Kind.POTTED_UP, None)])
def test_too_cold_ends_at_once_when_the_seed_is_up(
    garden: WatchedGarden, kind: Kind, data: dict[str, int] | None
) -> None:
    at = garden.run(START_MS, START_MS + 4 * HOUR_MS, soil_c=COLD_C)
    garden.deliver_all()
    garden.write(kind, at - 5 * MINUTE_MS, data=data)
    garden.see(at, soil_c=COLD_C)
    (episode,) = garden.episodes()
    assert episode.closed_ms == at - 5 * MINUTE_MS
    assert "is up" in garden.notices()[-1].body


def test_an_empty_tray_is_never_too_cold(sqlite_store: Store) -> None:
    garden = WatchedGarden(sqlite_store, sown=False)
    garden.run(START_MS, START_MS + 6 * HOUR_MS, soil_c=COLD_C)
    assert garden.episodes() == []


def test_a_sowing_written_down_late_is_judged_for_the_time_it_speaks_of(sqlite_store: Store) -> None:
    garden = WatchedGarden(sqlite_store, sown=False)
    at = garden.run(START_MS, START_MS + 6 * HOUR_MS, soil_c=COLD_C)
    garden.write(Kind.SOWED, START_MS + HOUR_MS, data={"crop": "tomato", "cells": 10})
    garden.see(at, soil_c=COLD_C)
    (episode,) = garden.episodes()
    assert episode.opened_ms == START_MS + HOUR_MS


def test_a_gap_proves_nothing_but_what_is_measured_after_it_counts(garden: WatchedGarden) -> None:
    garden.see(START_MS, moisture=DRY)
    garden.see(START_MS + 3 * HOUR_MS, moisture=DRY)  # nobody measured in between
    assert garden.episodes() == []
    garden.run(START_MS + 3 * HOUR_MS, START_MS + 4 * HOUR_MS, moisture=DRY)
    assert [e.opened_ms for e in garden.episodes()] == [START_MS + 3 * HOUR_MS]


def test_several_trays_found_dry_at_once_make_one_notice(sqlite_store: Store) -> None:
    garden = WatchedGarden(sqlite_store, trays=3)
    for at in range(START_MS, START_MS + HOUR_MS, 10 * MINUTE_MS):
        garden.clock.ms = at
        for tray in "ABC":
            garden.measure(at, DRY, tray=tray)
    garden.watch.judge(garden.tray_ids.values())
    (notice,) = garden.notices()
    assert notice.title == "Water now: 3 trays in open bench"
    assert [line[:3] for line in notice.body.splitlines()] == ["• A", "• B", "• C"]


def test_each_channel_gets_what_it_asked_for(sqlite_store: Store) -> None:
    settings = settings_with(channels=[channel("all"), channel("urgent only", "urgent")])
    garden = WatchedGarden(sqlite_store, settings)
    garden.run(START_MS, START_MS + 4 * HOUR_MS, moisture=DRY, soil_c=COLD_C)
    told = sorted((n.channel, n.title.split(":")[0]) for n in garden.notices())
    assert told == [
        ("all", "Too cold"),
        ("all", "Water now"),
        ("console", "Too cold"),
        ("console", "Water now"),
        ("urgent only", "Water now"),
    ]


def test_a_restart_in_the_middle_changes_nothing(garden: WatchedGarden) -> None:
    for minute in range(0, 120, 10):
        garden.see(START_MS + minute * MINUTE_MS, moisture=DRY)
        garden.watch = garden.new_watch()
        garden.watch.judge_all()
    assert [e.opened_ms for e in garden.episodes()] == [START_MS]
    assert garden.kinds() == [["opened"]]


def test_nothing_may_be_sent_before_every_tray_was_judged(garden: WatchedGarden) -> None:
    assert not garden.watch.ready.is_set()
    garden.watch.judge_all()
    assert garden.watch.ready.is_set()


def upload(garden: WatchedGarden, start_ms: int, days: int, now_ms: int) -> None:
    """A backlog in packs of a day: dry every afternoon, watered every evening."""
    for day in range(days):
        midnight = start_ms + day * DAY_MS
        for at in range(midnight, midnight + DAY_MS, 20 * MINUTE_MS):
            dry = 12 <= (at - midnight) // HOUR_MS < 18
            garden.measure(at, DRY if dry else WET)
        garden.clock.ms = now_ms
        garden.watch.judge(garden.tray_ids.values())
        garden.watch.tick()


def test_a_backlog_of_fourteen_days_becomes_one_digest(garden: WatchedGarden) -> None:
    now_ms = START_MS + 14 * DAY_MS
    garden.clock.ms = now_ms
    garden.watch.judge_all()
    upload(garden, START_MS, 14, now_ms)
    assert len(garden.episodes()) == 14
    assert garden.notices(NoticeState.WAITING) == []
    assert len(garden.notices(NoticeState.HELD)) == 14
    garden.clock.ms += 61_000
    garden.watch.tick()
    (digest,) = garden.notices()
    assert digest.state is NoticeState.WAITING
    assert digest.title == "While you were away: 14 needs came and went"
    assert len(digest.changes) == 14
    garden.watch.tick()
    assert len(garden.notices()) == 1


def test_after_a_backlog_what_is_still_open_is_told_as_it_is_now(garden: WatchedGarden) -> None:
    now_ms = START_MS + 2 * DAY_MS
    garden.clock.ms = now_ms
    garden.watch.judge_all()
    garden.measure(START_MS, WET)
    for at in range(START_MS + HOUR_MS, now_ms - 12 * HOUR_MS, 20 * MINUTE_MS):
        garden.measure(at, DRY)
    garden.watch.judge(garden.tray_ids.values())
    assert [n.state for n in garden.notices()] == [NoticeState.HELD]
    for at in range(now_ms - 12 * HOUR_MS, now_ms, 20 * MINUTE_MS):
        garden.measure(at, DRY - 0.02)
    garden.watch.judge(garden.tray_ids.values())
    garden.watch.tick()
    (notice,) = garden.notices()
    assert notice.state is NoticeState.WAITING
    assert "0.180 m³/m³" in notice.body


def test_an_episode_that_opens_in_one_pack_of_a_backlog_and_closes_in_the_next_goes_into_the_digest(
    garden: WatchedGarden,
) -> None:
    garden.clock.ms = START_MS + DAY_MS
    garden.watch.judge_all()
    for moisture, start in ((DRY, START_MS), (WET, START_MS + 2 * HOUR_MS)):
        for at in range(start, start + 2 * HOUR_MS, 20 * MINUTE_MS):
            garden.measure(at, moisture)
        garden.watch.judge(garden.tray_ids.values())
    assert garden.kinds() == [["past"]]
    garden.clock.ms += 61_000
    garden.watch.tick()
    (digest,) = garden.notices()
    assert digest.state is NoticeState.WAITING
    assert digest.title == "While you were away: 1 need came and went"


def test_an_opening_in_old_readings_is_told_after_a_minute_of_silence(garden: WatchedGarden) -> None:
    garden.clock.ms = START_MS + DAY_MS
    garden.watch.judge_all()
    for at in range(START_MS, START_MS + 2 * HOUR_MS, 20 * MINUTE_MS):
        garden.measure(at, DRY)
    garden.watch.judge(garden.tray_ids.values())
    garden.watch.tick()
    assert [n.state for n in garden.notices()] == [NoticeState.HELD]
    garden.clock.ms += 61_000
    garden.watch.tick()
    assert [n.state for n in garden.notices()] == [NoticeState.WAITING]


def test_a_probe_whose_clock_is_hours_behind_is_heard_all_the_same(garden: WatchedGarden) -> None:
    garden.watch.judge_all()
    for half_minute in range(0, 120):
        at = START_MS + half_minute * MINUTE_MS // 2
        garden.see(at, moisture=DRY, now_ms=at + 5 * HOUR_MS)
        garden.watch.tick()
    assert [n.state for n in garden.notices()] == [NoticeState.WAITING]


def test_late_readings_that_show_a_watering_close_the_episode(garden: WatchedGarden) -> None:
    garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    garden.deliver_all()
    for minute in (55, 52):  # newest first: the second is late by any measure
        garden.see(START_MS + minute * MINUTE_MS, moisture=WET)
    (episode,) = garden.episodes()
    assert episode.closed_ms == START_MS + 52 * MINUTE_MS
    assert garden.kinds() == [["opened"], ["closed"]]


def test_late_readings_that_change_nothing_tell_nothing(garden: WatchedGarden) -> None:
    garden.run(START_MS, START_MS + 2 * HOUR_MS, moisture=DRY)
    garden.deliver_all()
    for minute in range(5, 115, 10):
        garden.see(START_MS + minute * MINUTE_MS, moisture=DRY)
        garden.see(START_MS + minute * MINUTE_MS, moisture=DRY)  # redelivered
    assert len(garden.episodes()) == 1
    assert garden.kinds() == [["opened"]]


def test_late_readings_that_deny_an_episode_end_it_and_say_so(garden: WatchedGarden) -> None:
    garden.see(START_MS, moisture=DRY)
    garden.see(START_MS + 40 * MINUTE_MS, moisture=DRY)
    garden.deliver_all()
    garden.see(START_MS + 20 * MINUTE_MS, moisture=WET)
    assert garden.kinds() == [["opened"]]  # a lone wet reading between dry ones is a spike
    garden.see(START_MS + 25 * MINUTE_MS, moisture=WET, now_ms=START_MS + 41 * MINUTE_MS)
    (episode,) = garden.episodes()
    assert episode.closed_ms is not None
    assert garden.kinds() == [["opened"], ["closed"]]
    assert "late readings" in garden.notices()[-1].body


def test_late_readings_stored_while_nobody_watched_are_found_at_the_next_start(
    garden: WatchedGarden,
) -> None:
    garden.run(START_MS, START_MS + HOUR_MS, moisture=WET)
    at = garden.run(START_MS + 4 * HOUR_MS, START_MS + 5 * HOUR_MS, moisture=WET)
    garden.watch.judge_all()
    garden.clock.ms = at + HOUR_MS
    for minute in range(60, 240, 10):
        garden.measure(START_MS + minute * MINUTE_MS, DRY)
    garden.watch = garden.new_watch()
    garden.watch.judge_all()
    assert [(e.opened_ms, e.closed_ms) for e in garden.episodes()] == [
        (START_MS + HOUR_MS, START_MS + 4 * HOUR_MS)
    ]


def test_the_body_names_the_last_watering_from_the_journal_or_says_it_is_not_known(
    garden: WatchedGarden,
) -> None:
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    assert "Last watered: not known." in garden.notices()[0].body
    garden.write(Kind.WATERED, at)
    at = garden.run(at, at + HOUR_MS, moisture=WET)
    garden.run(at, at + HOUR_MS, moisture=DRY)
    opened = [n for n in garden.notices() if n.title.startswith("Water now")][-1]
    # The last reading before the rise: ten minutes before it was written down.
    assert "Last watered 1 h 40 min ago (by the journal, and seen by its sensor)." in opened.body


def test_a_wetting_the_sensor_saw_counts_as_the_last_watering(garden: WatchedGarden) -> None:
    at = garden.run(START_MS, START_MS + DAY_MS, moisture=0.30)
    at = garden.run(at, at + 6 * HOUR_MS, moisture=WET)
    garden.run(at, at + HOUR_MS, moisture=DRY)
    assert "(seen by its sensor)" in garden.notices()[0].body


def test_one_tray_that_cannot_be_judged_does_not_silence_the_others(
    sqlite_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    garden = WatchedGarden(sqlite_store, trays=2)
    whole = garden.watch._judge.tray

    def broken(tx, knowledge, tray_id, *rest):  # type: ignore[no-untyped-def]
        if tray_id == garden.tray_ids["A"]:
            raise ZeroDivisionError
        return whole(tx, knowledge, tray_id, *rest)

    monkeypatch.setattr(garden.watch._judge, "tray", broken)
    for at in range(START_MS, START_MS + HOUR_MS, 10 * MINUTE_MS):
        garden.clock.ms = at
        garden.measure(at, DRY, tray="A")
        garden.measure(at, DRY, tray="B")
    garden.watch.judge_all()
    assert [n.title for n in garden.notices()] == ["Water now: B (open bench)"]


def test_the_thread_judges_what_arrives_and_ends_when_asked(garden: WatchedGarden) -> None:
    garden.watch.start()
    try:
        assert garden.watch.ready.wait(30)
        for at in range(START_MS, START_MS + HOUR_MS, 10 * MINUTE_MS):
            garden.clock.ms = at
            garden.measure(at, DRY, WARM_C)
        head = garden.head_ids["A"]
        garden.watch.committed(Committed({head: garden.clock.ms}, {head: START_MS}))
        deadline = 30.0
        while not garden.notices() and deadline > 0:
            time.sleep(0.05)
            deadline -= 0.05
    finally:
        garden.watch.stop()
    assert len(garden.notices()) == 1


def test_opening_telling_and_closing_are_alike_on_both_databases(store: Store) -> None:
    garden = WatchedGarden(store, trays=2)
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY, tray="B")
    garden.deliver_all()
    garden.watch = garden.new_watch()
    garden.watch.judge_all()
    garden.run(at, at + HOUR_MS, moisture=WET, tray="B")
    garden.watch.tick()
    assert garden.kinds() == [["opened"], ["closed"]]
    assert [e.closed_ms for e in garden.episodes()] == [at]
