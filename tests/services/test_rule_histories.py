"""What befalls rules besides opening and closing: shadows, clocks that are set, outages, things out of sight.

Each rule's own timelines are in test_rule_timelines.py.
"""

from dataclasses import replace
from functools import partial

import pytest

from tests.services.rule_worlds import (
    EVENING_MS,
    MORNING_MS,
    QUICK,
    TOLD_D,
    cold_night,
    drying,
    drying_for_a_day,
    ends,
    hours_before,
    in_the_open,
    nights_before,
    opened_at_noon,
    vitals,
    watered_daily,
    with_two_ends,
)
from tests.services.timelines import CALM, HALF_HOUR_MS, SILENT, STEP_MS, WELL, Line, World
from tests.services.watched_garden import DAY_MS, HOUR_MS, MINUTE_MS, START_MS
from traywarden.domain.journal import Kind
from traywarden.store.store import Store


def test_seed_is_not_warned_of_frost(sqlite_store: Store) -> None:
    line = Line(sqlite_store, start_ms=START_MS + 5 * HOUR_MS, sown_d=20, step_ms=HALF_HOUR_MS)
    hours_before(line, 14 * 24)
    line.run(replace(CALM, air_c=2.0), 3)
    assert line.of("frost") == []


def test_under_cover_rain_is_nobodys_matter(sqlite_store: Store) -> None:
    line = Line(sqlite_store, step_ms=HALF_HOUR_MS)
    line.run(replace(CALM, rain_mm=9.0), 3)
    assert line.of("rain") == []


def test_a_tray_dry_before_the_next_visit_is_told_before_it_is_dry(sqlite_store: Store) -> None:
    """From 7 o'clock on the next visit is that at 18; dry at 17:20, it is told who comes at 8."""
    line = Line(sqlite_store, sown_d=3, step_ms=HALF_HOUR_MS)
    drying_for_a_day(line)
    line.run(drying, 2.5)
    assert line.said == [("drying", "opened")]
    line.run(drying, 8, HOUR_MS)
    line.run(drying, 2.5)
    assert line.said == [("drying", "opened"), ("dry", "opened")]
    line.run(replace(CALM, moisture_m3_m3=0.5), 2)
    assert line.said == [("drying", "opened"), ("dry", "opened"), ("dry", "closed")]


def test_a_probe_heard_now_and_then_is_quiet_once_each_time_it_is_silent_too_long(
    sqlite_store: Store,
) -> None:
    """About its limit of two hours: just below it nothing is told, and just above it each silence once."""
    line = Line(sqlite_store, step_ms=5 * MINUTE_MS)
    line.run(CALM, 0.5)
    for _ in range(2):
        line.run(SILENT, 110 / 60, 55 * MINUTE_MS)
        line.step(CALM)
    assert line.said == []
    for number in (1, 2):
        line.run(SILENT, 100 / 60, 50 * MINUTE_MS)
        line.run(SILENT, 25 / 60)
        line.step(CALM)
        assert line.said == [("quiet", "opened"), ("quiet", "closed")] * number


def test_a_quiet_probe_shadows_what_its_late_readings_would_tell(sqlite_store: Store) -> None:
    """A dry tray whose readings come in while the probe still counts as quiet is told after that is over."""
    line = Line(sqlite_store)
    line.run(replace(CALM, moisture_m3_m3=0.36), 0.5)
    line.run(replace(CALM, sending=False), 3)
    assert line.said == [("quiet", "opened")]
    dry = replace(CALM, moisture_m3_m3=0.24)
    line.measure_all(range(line.at_ms - 6 * STEP_MS, line.at_ms + 1, STEP_MS), dry)
    line.garden.watch.judge([line.tray_id], {line.tray_id: line.at_ms - 6 * STEP_MS})
    assert {e.rule for e in line.garden.episodes()} == {"quiet", "dry"}
    assert line.garden.deliver_all() == []
    line.run(dry, 0.5)
    assert line.said[0] == ("quiet", "opened")
    assert sorted(line.said[1:]) == [("dry", "opened"), ("quiet", "closed")], "both at the same look"


def test_a_frame_opened_long_ago_is_not_called_closed_until_a_closing_shows(sqlite_store: Store) -> None:
    """Opened at 13:00, told in the evening: at 5 o'clock that is sixteen hours ago, and it is open still."""
    line = Line(sqlite_store, start_ms=EVENING_MS, step_ms=HALF_HOUR_MS)
    opened_at_noon(line)
    open_in_the_cold = replace(CALM, air_c=1.3, open_air_c=1.0)
    line.run(open_in_the_cold, 2)
    assert line.of("shut") == ["opened"]
    line.run(open_in_the_cold, 8)
    assert line.of("shut") == ["opened"]
    line.run(replace(CALM, air_c=5.0, open_air_c=1.0), 0.5)
    assert line.of("shut") == ["opened", "closed"]


def test_a_frame_that_the_journal_has_as_closed_is_over_without_a_word(sqlite_store: Store) -> None:
    """Its air does not show yet that it is closed; whoever closed it knows."""
    line = Line(sqlite_store, start_ms=EVENING_MS, step_ms=HALF_HOUR_MS)
    opened_at_noon(line)
    open_in_the_cold = replace(CALM, air_c=1.3, open_air_c=1.0)
    line.run(open_in_the_cold, 2)
    line.write(Kind.CLOSED, line.at_ms, place_id=line.frame.place_id)
    line.run(open_in_the_cold, 1)
    (episode,) = line.garden.episodes("shut")
    assert episode.closed_ms is not None
    assert line.of("shut") == ["opened"]


def test_silence_does_not_close_a_frame(sqlite_store: Store) -> None:
    """Seen open at 16:30 in December; the air falls silent, and by 7 o'clock the opening is out of sight."""
    line = Line(sqlite_store, start_ms=START_MS + 285 * DAY_MS + 9 * HOUR_MS + HALF_HOUR_MS)  # 15:30Z
    line.run(replace(CALM, air_c=15.0, open_air_c=5.0), 1)
    line.run(replace(CALM, air_c=5.3, open_air_c=5.0), 1.5)
    assert line.of("shut") == ["opened"]
    line.run(SILENT, 13, HOUR_MS)
    assert line.of("shut") == ["opened"]
    assert [e.closed_ms for e in line.garden.episodes("shut")] == [None]


def test_a_head_out_of_its_mix_stays_out_until_its_moisture_comes_back(sqlite_store: Store) -> None:
    """After two days its fall is out of sight: that is no end, and its tray is not dry."""
    line = Line(sqlite_store, step_ms=HALF_HOUR_MS)
    line.run(CALM, 3)
    line.run(replace(CALM, moisture_m3_m3=0.03), 3)
    line.step_ms, line.every_ms = 6 * HOUR_MS, 2 * HOUR_MS
    line.run(replace(CALM, moisture_m3_m3=0.03), 54)
    line.step_ms, line.every_ms = 2 * HOUR_MS, 0
    assert line.of("pulled") == ["opened"]
    assert "opened" not in line.of("dry")[1:]
    line.run(CALM, 4)
    assert line.of("pulled") == ["opened", "closed"]


def test_a_faulty_head_that_measures_nothing_any_more_is_not_called_well(sqlite_store: Store) -> None:
    line = Line(sqlite_store, QUICK, step_ms=HALF_HOUR_MS)
    line.run(CALM, 3)
    line.run(replace(CALM, moisture_m3_m3=-0.5), 6)
    assert line.of("faulty") == ["opened"]
    line.run(replace(CALM, moisture_m3_m3=None), 12, HOUR_MS)
    assert line.of("faulty") == ["opened"]
    line.run(CALM, 4)
    assert line.of("faulty") == ["opened", "closed"]


def put_back(line: Line, by_ms: int) -> None:
    line.at_ms -= by_ms
    line.garden.clock.set_by(-by_ms)


def test_rules_by_the_clock_hear_at_once_after_it_was_set_back(sqlite_store: Store) -> None:
    """A wrong time server put it a year ahead for a minute; the host was started anew after that."""
    line = Line(sqlite_store)
    line.run(CALM, 1)
    line.garden.clock.set_by(365 * DAY_MS)
    line.look()
    line.garden.clock.set_by(-365 * DAY_MS)
    line.restart()
    line.run(vitals(free_mb=100.0), 0.5)
    assert line.of("disk") == ["opened"]
    line.run(CALM, 0.5)
    assert line.of("disk") == ["opened", "closed"]


def test_what_was_opened_while_the_clock_was_ahead_ends_once_and_comes_back_as_another(
    sqlite_store: Store,
) -> None:
    line = Line(sqlite_store, step_ms=STEP_MS // 2)
    full = vitals(free_mb=100.0)
    line.run(full, 0.5)
    assert line.of("disk") == ["opened"]
    put_back(line, 6 * HOUR_MS)
    line.run(full, 0.5)
    assert line.of("disk") == ["opened"], "it is open still, and told already"
    line.run(CALM, 0.5)
    assert line.of("disk") == ["opened", "closed"]
    (ended,) = line.garden.episodes("disk")
    assert ended.closed_ms is not None
    assert ended.opened_ms <= ended.closed_ms <= line.at_ms
    assert "withdrawn" not in ended.facts
    line.run(full, 0.5)
    line.run(CALM, 0.5)
    put_back(line, 45 * STEP_MS // 10)  # before the last one had begun
    line.run(full, 0.5)
    assert line.of("disk") == ["opened", "closed"] * 2 + ["opened"]
    assert len({e.episode_id for e in line.garden.episodes("disk")}) == 3
    assert [e.closed_ms for e in line.garden.episodes("disk")].count(None) == 1


@pytest.mark.parametrize("outage", ["broker", "host"])
def test_silence_in_which_nothing_could_come_in_is_not_the_probes(sqlite_store: Store, outage: str) -> None:
    line = Line(sqlite_store, step_ms=HALF_HOUR_MS)
    line.run(CALM, 1)
    if outage == "broker":
        line.run(replace(SILENT, vitals=replace(WELL, broker_gone_s=4000.0)), 4)
    else:
        line.at_ms += 9 * HOUR_MS
        line.garden.clock.ms = line.at_ms
        line.restart()
    line.run(SILENT, 1)
    assert line.of("quiet") == []
    line.run(CALM, 0.5)
    assert line.of("quiet") == [], "it had kept what it measured"
    line.run(SILENT, 3)
    assert line.of("quiet") == ["opened"]


def test_a_probe_that_is_silent_when_the_host_starts_is_told_once_it_could_have_been_heard(
    sqlite_store: Store,
) -> None:
    line = Line(sqlite_store, step_ms=HALF_HOUR_MS)
    line.run(CALM, 1)
    line.run(SILENT, 1)
    line.restart()
    line.run(SILENT, 1.5)
    assert line.of("quiet") == []
    line.run(SILENT, 1)
    assert line.of("quiet") == ["opened"]
    line.restart()
    line.run(SILENT, 1)
    assert line.of("quiet") == ["opened"], "nor is it over because the host was started anew"


@pytest.mark.parametrize("away_h", [0, 10])
def test_every_cold_night_is_told_also_where_nobody_asked_in_the_morning(
    sqlite_store: Store, away_h: int
) -> None:
    """The host is off from 3 to 13 o'clock: the next night is another, though nobody saw the first end."""
    line = Line(sqlite_store, start_ms=START_MS + 5 * HOUR_MS, sown_d=20, step_ms=2 * HOUR_MS)  # 11:00Z
    nights_before(line)
    line.run(cold_night, 16)  # 3 o'clock
    assert line.of("frost") == ["opened"]
    if away_h:
        line.at_ms += away_h * HOUR_MS
        line.garden.clock.ms = line.at_ms
        line.restart()
    line.run(cold_night, 24 - away_h)
    assert line.of("frost") == ["opened"] * 2


@pytest.mark.parametrize(
    ("rule", "broken"),
    [("pulled", replace(CALM, moisture_m3_m3=0.02)), ("faulty", replace(CALM, soil_c=-127.0))],
)
def test_a_loose_contact_is_told_once_and_is_over_when_it_holds_again(
    sqlite_store: Store, rule: str, broken: World
) -> None:
    """Broken for a while, well for a while: with the delays and the levels that a garden has by default."""
    line = Line(sqlite_store, step_ms=HALF_HOUR_MS)
    line.run(CALM, 3)
    for _ in range(3):
        line.run(broken, 2.5 if rule == "faulty" else 1)
        line.run(CALM, 1.5 if rule == "faulty" else 0.5)
    assert line.of(rule) == ["opened"]
    line.run(CALM, 7, HOUR_MS)
    assert line.of(rule) == ["opened", "closed"]


def test_a_rain_gauge_that_falls_silent_does_not_end_a_heavy_rain(sqlite_store: Store) -> None:
    """What it had told leaves the last day bit by bit: of what fell since nobody knows."""
    line = Line(sqlite_store, step_ms=HALF_HOUR_MS)
    in_the_open(line)
    line.run(replace(CALM, rain_mm=0.0), 1)
    line.run(replace(CALM, rain_mm=4.0), 4)
    assert line.of("rain") == ["opened"]
    line.run(CALM, 26, 2 * HOUR_MS)
    assert [e.closed_ms for e in line.garden.episodes("rain")] == [None]
    line.run(replace(CALM, rain_mm=0.0), 3)
    assert [e.closed_ms is None for e in line.garden.episodes("rain")] == [False]


@pytest.mark.parametrize(("crop", "day_c", "told"), [("tomato", 37.0, "cold"), ("lettuce", 27.0, "hot")])
def test_of_a_tray_too_cold_by_night_and_too_warm_by_day_one_thing_is_told(
    sqlite_store: Store, crop: str, day_c: float, told: str
) -> None:
    """Tomato wants 10 to 35 °C; lettuce 1.7 °C, and above 25 °C it falls asleep, which is worse."""
    line = Line(sqlite_store, {"hot__open_delay_s": 3600.0, "cold__open_delay_s": 3600.0})
    line.write(Kind.SOWED, line.at_ms, tray_id=line.tray_id, data={"crop": crop, "cells": 40})
    first, then = (0.5, day_c) if told == "cold" else (day_c, 0.5)
    for soil_c in (first, then):
        line.run(replace(CALM, soil_c=soil_c), 2)
    assert line.said == [(told, "opened")]


def test_heat_is_told_once_the_cold_has_not_come_back_for_a_day(sqlite_store: Store) -> None:
    """The cold stays open for its closing delay of three days: it hides the heat no longer than a day."""
    line = Line(sqlite_store, {"hot__open_delay_s": 3600.0, "cold__open_delay_s": 3600.0})
    line.run(replace(CALM, soil_c=0.5), 2, HALF_HOUR_MS)
    line.run(replace(CALM, soil_c=45.0), 22, 2 * HOUR_MS)
    assert line.said == [("cold", "opened")]
    line.run(replace(CALM, soil_c=45.0), 4, HOUR_MS)
    assert line.said == [("cold", "opened"), ("hot", "opened")]
    assert [e.closed_ms for e in line.garden.episodes("cold")] == [None]


def out_of_level(store: Store, over_d: int) -> tuple[Line, partial[World]]:
    """A tray that has been told to be out of level, and is level from a day on; nobody writes that down."""
    line = Line(store, dict(QUICK), MORNING_MS, 20, DAY_MS, HALF_HOUR_MS, watered_daily)
    with_two_ends(line)
    world = partial(ends, tilted_d=range(5, over_d))
    line.run(world, 4 * 24)
    assert line.said == [("tilted", "opened")]
    return line, world


def test_a_tray_put_level_is_told_to_be_so_after_three_even_waterings_though_nobody_wrote_it_down(
    sqlite_store: Store,
) -> None:
    line, world = out_of_level(sqlite_store, TOLD_D + 2)
    line.run(world, 3 * 24)
    assert line.said == [("tilted", "opened")], "two even ones may be chance"
    line.run(world, 2 * 24)
    assert line.said == [("tilted", "opened"), ("tilted", "closed")]
    assert "seems to have been put level since: in the newest 3" in line.bodies[-1]
    line.run(world, 4 * 24)
    assert len(line.said) == 2, "the old ones do not come back"


def test_what_is_done_to_a_tray_out_of_level_ends_it_also_where_it_is_written_down_late(
    sqlite_store: Store,
) -> None:
    """It was levelled before it was told, and said so after; the next six waterings show it was not."""
    line, world = out_of_level(sqlite_store, TOLD_D + 40)
    done_ms = next(e for e in line.garden.episodes("tilted")).opened_ms - HOUR_MS
    line.write(Kind.LEVELLED, done_ms, tray_id=line.tray_id)
    line.run(world, 24)
    assert line.said == [("tilted", "opened"), ("tilted", "closed")]
    assert "it was put level yesterday 06:30, and no watering" in line.bodies[-1]
    line.run(world, 3 * 24)
    assert len(line.said) == 2
    line.run(world, 4 * 24)
    assert line.said[2:] == [("tilted", "opened")]
