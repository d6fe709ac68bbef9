"""Every rule against the real watch on a driven clock; a message that is not expected fails the test."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from tests.services.timelines import CALM, SILENT, STEP_MS, WELL, Line, Scenario, World
from tests.services.watched_garden import DAY_MS, HOUR_MS, START_MS, settings_with
from traywarden.domain.journal import Kind
from traywarden.domain.notices import Notice, NoticeState
from traywarden.services.asking.standing import ROWS
from traywarden.services.judging import standing_rules
from traywarden.store import notices as notice_store
from traywarden.store.store import Store

HALF_HOUR_MS = HOUR_MS // 2
EVENING_MS = START_MS + 13 * HOUR_MS  # 19:00Z on 1 March


def up_long_ago(line: Line) -> None:
    line.write(Kind.EMERGED, line.start_ms - 10 * DAY_MS, tray_id=line.tray_id, data={"count": 30})


def opened_at_noon(line: Line) -> None:
    line.write(Kind.VENTED, line.start_ms - 6 * HOUR_MS, place_id=line.frame.place_id)


def vitals(**more: Any) -> World:
    return replace(CALM, vitals=replace(WELL, **more))


QUICK = {
    "waterlogged__open_delay_s": 3600.0,
    "waterlogged__close_delay_s": 1800.0,
    "damp__open_delay_s": 3600.0,
    "damp__close_delay_s": 1800.0,
    "cold__open_delay_s": 3600.0,
    "cold__close_delay_s": 1800.0,
    "hot__open_delay_s": 3600.0,
    "hot__close_delay_s": 1800.0,
    "battery__open_delay_s": 3600.0,
    "battery__close_delay_s": 3600.0,
    "faulty__close_delay_s": 1800.0,
    "vent__close_delay_s": 1200.0,
    "notices__remind_after_s": 0.0,
}
"""The same rules with shorter delays: days of readings take seconds to judge."""
SCENARIOS = [
    Scenario(
        "dry",
        replace(CALM, moisture_m3_m3=0.24),
        replace(CALM, moisture_m3_m3=0.26),
        no=replace(CALM, moisture_m3_m3=0.36),
        opens_h=1,
        closes_h=1,
        late=True,
    ),
    Scenario(
        "cold",
        replace(CALM, soil_c=6.0),
        replace(CALM, soil_c=10.5),
        opens_h=1.5,
        closes_h=1,
        late=True,
    ),
    Scenario(
        "hot", replace(CALM, soil_c=37.0), replace(CALM, soil_c=34.5), opens_h=1.5, closes_h=1, late=True
    ),
    Scenario(
        "waterlogged",
        replace(CALM, moisture_m3_m3=0.54),
        replace(CALM, moisture_m3_m3=0.51),
        opens_h=1.5,
        closes_h=1,
        late=True,
    ),
    Scenario(
        "damp",
        replace(CALM, moisture_m3_m3=0.50),
        replace(CALM, moisture_m3_m3=0.43),
        opens_h=1.5,
        closes_h=1,
        prepare=up_long_ago,
        sown_d=20,
        late=True,
    ),
    Scenario("vent", replace(CALM, air_c=31.0), replace(CALM, air_c=25.0), opens_h=1),
    Scenario(
        "shut",
        replace(CALM, air_c=5.3, open_air_c=5.0),
        replace(CALM, air_c=6.5, open_air_c=5.0),
        no=replace(CALM, air_c=12.0, open_air_c=5.0),
        opens_h=1,
        prepare=opened_at_noon,
        start_ms=EVENING_MS,
    ),
    Scenario("quiet", SILENT, None, dim=None, opens_h=3, closes_h=0.5),
    Scenario(
        "battery", replace(CALM, battery_v=3.4), replace(CALM, battery_v=3.55), opens_h=2.5, closes_h=2.5
    ),
    Scenario("faulty", replace(CALM, soil_c=-127.0), None, opens_h=5, closes_h=4.5),
    Scenario(
        "pulled",
        replace(CALM, moisture_m3_m3=0.02),
        None,
        opens_h=4,
        closes_h=1,
        also=frozenset({"dry"}),  # for two hours nobody can tell it from a dry tray
    ),
    Scenario("clock", replace(CALM, extra='{"time_unsure":1.0}'), None, opens_h=2, closes_h=3),
    Scenario("disk", vitals(free_mb=100.0), vitals(free_mb=600.0), dim=None, opens_h=0.5),
    Scenario("broker", vitals(broker_gone_s=400.0), None, dim=None, opens_h=0.5),
    Scenario("slow", vitals(commit_s=9.0), vitals(commit_s=4.0), dim=None, opens_h=0.5),
]
OWN_TESTS = {"drying", "late", "tilted", "frost", "rain", "parked"}


def line_of(store: Store, scenario: Scenario) -> Line:
    line = Line(store, QUICK | scenario.settings, scenario.start_ms, scenario.sown_d)
    scenario.prepare(line)
    return line


def expected(scenario: Scenario, *kinds: str) -> list[str]:
    return [kind for kind in kinds if kind != "closed" or scenario.ends]


def unexpected(line: Line, scenario: Scenario, *more: str) -> list[tuple[str, str]]:
    known = {scenario.rule, *scenario.also, *more}
    return [told for told in line.said if told[0] not in known]


def test_every_rule_has_a_timeline() -> None:
    every = {rule.name for rule in standing_rules(settings_with())} | {row[0] for row in ROWS}
    assert every == {scenario.rule for scenario in SCENARIOS} | OWN_TESTS


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda s: s.rule)
def test_it_opens_once_whatever_wavers_stays_open_while_blind_and_over_a_restart_and_ends_once(
    sqlite_store: Store, scenario: Scenario
) -> None:
    line = line_of(sqlite_store, scenario)
    line.run(scenario.no, 1)
    assert line.said == [], "nothing is the matter yet"
    line.run(scenario.yes, scenario.opens_h)
    assert line.of(scenario.rule) == ["opened"]
    if scenario.hold is not None:
        for world in (scenario.hold, scenario.yes) * 4:
            line.step(world)
    line.restart()
    line.run(scenario.yes, 0.5)
    if scenario.dim is not None:
        line.run(scenario.dim, 3)
        line.run(scenario.yes, 0.5)
    assert line.of(scenario.rule) == ["opened"], "told once, through chatter, gap and restart"
    line.run(scenario.no, scenario.closes_h)
    assert line.of(scenario.rule) == expected(scenario, "opened", "closed")
    assert unexpected(line, scenario, "quiet") == []
    mine = line.garden.episodes(scenario.rule)
    assert mine
    assert [e for e in mine if e.closed_ms is None] == []


LATE = [s for s in SCENARIOS if s.late or s.rule in ("vent", "battery", "pulled")]


@pytest.mark.parametrize("scenario", LATE, ids=lambda s: s.rule)
def test_what_comes_in_late_makes_no_noise(sqlite_store: Store, scenario: Scenario) -> None:
    """It was over when its readings arrive: at most one digest, and that only of rules asked at readings."""
    line = line_of(sqlite_store, scenario)
    line.run(scenario.no, 1)
    first_ms, steps = line.at_ms, round((scenario.opens_h + scenario.closes_h + 1) * HOUR_MS / STEP_MS)
    line.run(SILENT, scenario.opens_h + scenario.closes_h + 1)
    for number in range(1, steps):
        held = number * STEP_MS <= (scenario.opens_h + 0.5) * HOUR_MS
        line.measure(first_ms + number * STEP_MS, scenario.yes if held else scenario.no)
    line.run(scenario.no, 1.5)
    told = line.of(scenario.rule)
    assert told == (["past"] if scenario.late else []), line.bodies
    assert unexpected(line, scenario, "quiet", "pulled", "dry") == []


# Rules that need a history of days, or what no sensor measures


def days_before(line: Line, days: int, air: Callable[[float], float]) -> None:
    """Hourly readings of days that are over; `air` gives °C by the hour of the day."""
    for hour in range(days * 24, 0, -1):
        at_ms = line.start_ms - hour * HOUR_MS
        air_c = air((at_ms // HOUR_MS) % 24)
        line.measure(at_ms, replace(CALM, air_c=air_c, open_air_c=air_c), received_ms=at_ms)


def cold_nights(hour: float) -> float:
    """Down to −5 °C at 5 o'clock, up to 11 °C at 17 o'clock."""
    return 3.0 - 8.0 * math.cos((hour - 5) / 24 * 2 * math.pi)


def test_frost_is_told_once_for_a_night_names_who_suffers_and_is_over_in_the_morning(
    sqlite_store: Store,
) -> None:
    line = Line(sqlite_store, start_ms=START_MS + 4 * HOUR_MS, sown_d=20, step_ms=HALF_HOUR_MS)  # 10:00Z
    up_long_ago(line)
    days_before(line, 16, cold_nights)
    for _ in range(25 * 2):
        line.step(replace(CALM, air_c=cold_nights(line.at_ms / HOUR_MS % 24), open_air_c=20.0))
        if line.of("frost") and len(line.bodies) == 1:
            break
    (body,) = line.bodies
    for part in ("Frost or chill tonight: frame", "A (Tomato): tender", "7.2 °C", "Minnesota", "Cover"):
        assert part in body
    line.restart()
    for _ in range(22 * 2):
        line.step(replace(CALM, air_c=cold_nights(line.at_ms / HOUR_MS % 24), open_air_c=20.0))
    assert line.said == [("frost", "opened")]
    assert [e.closed_ms is None for e in line.garden.episodes("frost")] == [False]


def test_seed_is_not_warned_of_frost(sqlite_store: Store) -> None:
    line = Line(sqlite_store, start_ms=START_MS + 5 * HOUR_MS, sown_d=20)
    days_before(line, 14, cold_nights)
    line.run(replace(CALM, air_c=2.0), 3)
    assert line.of("frost") == []


def test_heavy_rain_on_open_trays_is_told_once(sqlite_store: Store) -> None:
    line = Line(sqlite_store, step_ms=HALF_HOUR_MS)
    line.write(Kind.MOVED, line.at_ms - HOUR_MS, tray_id=line.tray_id, place_id=line.garden.place.place_id)
    line.run(replace(CALM, rain_mm=0.0), 1)
    line.run(replace(CALM, rain_mm=6.0), 2)  # 24 mm
    line.run(replace(CALM, rain_mm=0.0), 2)
    assert [told for told in line.said if told[0] == "rain"] == [("rain", "opened")]
    assert "24 mm of rain fell on A" in " ".join(line.bodies)
    line.run(replace(CALM, rain_mm=0.0), 24)
    assert line.of("rain") == ["opened"]
    assert [e.closed_ms is None for e in line.garden.episodes("rain")] == [False]


def test_under_cover_rain_is_nobodys_matter(sqlite_store: Store) -> None:
    line = Line(sqlite_store)
    line.run(replace(CALM, rain_mm=3.0), 3)
    assert line.of("rain") == []


def drying_at(line: Line, at_ms: int) -> World:
    """Watered to 0.50 m³/m³ at 15 o'clock on both days before, then dried at its pace: at 0.25 by 17:20."""
    since_h = (at_ms - line.start_ms) / HOUR_MS + 15
    dried_h = since_h if since_h >= 0 else since_h + 24
    wet = 0.05 + 0.45 * math.exp(-dried_h / 32.4)
    return replace(CALM, moisture_m3_m3=0.34 if dried_h < 0 else wet)


def test_a_tray_dry_before_the_next_visit_is_told_before_it_is_dry(sqlite_store: Store) -> None:
    """Until 7 o'clock the next visit is the one at 8; from then on that at 18, and 17:20 is before it."""
    line = Line(sqlite_store, sown_d=3)
    for back in range(260, 0, -1):
        at_ms = line.start_ms - back * STEP_MS
        line.measure(at_ms, drying_at(line, at_ms), received_ms=at_ms)
    while not line.of("dry") and line.at_ms < line.start_ms + 13 * HOUR_MS:
        line.step(drying_at(line, line.at_ms + STEP_MS))
        if line.said == [("drying", "opened")] and len(line.bodies) == 1:
            hour = line.at_ms / HOUR_MS % 24
            line.bodies.append("seen")
            assert 7 <= hour <= 8.5, "while whoever comes at 8 o'clock is there"
            assert "dry line of 45 %" in line.bodies[0]
            assert "drying.morning_h" in line.bodies[0]
    assert line.said == [("drying", "opened"), ("dry", "opened")]
    line.run(replace(CALM, moisture_m3_m3=0.5), 2)
    assert line.said == [("drying", "opened"), ("dry", "opened"), ("dry", "closed")]


def test_late_seed_is_told_with_what_the_record_says_and_ends_when_it_is_up(sqlite_store: Store) -> None:
    """Tomato at 20 °C comes up within about two weeks; after thirty days it is late."""
    line = Line(sqlite_store, sown_d=30)
    days_before(line, 29, lambda hour: 18.0)
    line.run(CALM, 2)
    assert line.said == [("late", "opened")]
    assert "Tomato, sown 30 Jan, is late" in line.bodies[0]
    line.write(Kind.EMERGED, line.at_ms, tray_id=line.tray_id, data={"count": 3})
    line.run(CALM, 1.5)
    assert line.garden.episodes("late")[0].closed_ms is not None
    assert line.of("late") == ["opened"], "whoever saw it come up knows"


def test_notices_given_up_are_told_over_what_still_works(sqlite_store: Store) -> None:
    line = Line(sqlite_store)
    with line.store.write() as tx:
        lost = Notice("lost", "mail", "urgent", "Water now: A", "", (), line.at_ms, NoticeState.WAITING)
        notice_store.put(tx, [lost])
        notice_store.park(tx, "lost", "no such address")
    line.run(CALM, 0.5)
    assert line.said == [("parked", "opened")]
    assert "no such address" in line.bodies[0]
    with line.store.write() as tx:
        notice_store.mark_sent(tx, "lost", line.at_ms)
    line.run(CALM, 0.5)
    assert line.said == [("parked", "opened"), ("parked", "closed")]


def test_a_quiet_probe_shadows_what_its_late_readings_would_tell(sqlite_store: Store) -> None:
    """A dry tray whose readings come in while the probe still counts as quiet is told after that is over."""
    line = Line(sqlite_store)
    line.run(replace(CALM, moisture_m3_m3=0.36), 0.5)
    line.run(replace(CALM, sending=False), 3)
    assert line.said == [("quiet", "opened")]
    dry = replace(CALM, moisture_m3_m3=0.24)
    for back in range(6, -1, -1):
        line.measure(line.at_ms - back * STEP_MS, dry)
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


def test_silence_does_not_close_a_frame(sqlite_store: Store) -> None:
    """Seen open at 16:30 in December; the air falls silent, and by 7 o'clock the opening is out of sight."""
    line = Line(sqlite_store, start_ms=START_MS + 285 * DAY_MS + 9 * HOUR_MS + HALF_HOUR_MS)  # 15:30Z
    line.run(replace(CALM, air_c=15.0, open_air_c=5.0), 1)
    line.run(replace(CALM, air_c=5.3, open_air_c=5.0), 1.5)
    assert line.of("shut") == ["opened"]
    line.step_ms = HALF_HOUR_MS
    line.run(SILENT, 13)
    assert line.of("shut") == ["opened"]
    assert [e.closed_ms for e in line.garden.episodes("shut")] == [None]


def test_a_head_out_of_its_mix_stays_out_until_its_moisture_comes_back(sqlite_store: Store) -> None:
    """After two days its fall is out of sight: that is no end, and its tray is not dry."""
    line = Line(sqlite_store, step_ms=HALF_HOUR_MS)
    line.run(CALM, 3)
    line.run(replace(CALM, moisture_m3_m3=0.03), 3)
    line.step_ms = 2 * HOUR_MS
    line.run(replace(CALM, moisture_m3_m3=0.03), 54)
    assert line.of("pulled") == ["opened"]
    assert "opened" not in line.of("dry")[1:]
    line.run(CALM, 2)
    assert line.of("pulled") == ["opened", "closed"]


def test_a_faulty_head_that_measures_nothing_any_more_is_not_called_well(sqlite_store: Store) -> None:
    line = Line(sqlite_store, QUICK, step_ms=HALF_HOUR_MS)
    line.run(CALM, 3)
    line.run(replace(CALM, moisture_m3_m3=-0.5), 6)
    assert line.of("faulty") == ["opened"]
    line.run(replace(CALM, moisture_m3_m3=None), 12)
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
    line = Line(sqlite_store)
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
    line = Line(sqlite_store)
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


@pytest.mark.parametrize("away_h", [0, 11])
def test_every_cold_night_is_told_also_where_nobody_asked_in_the_morning(
    sqlite_store: Store, away_h: int
) -> None:
    """The host is off from 2 to 13 o'clock: the next night is another, though nobody saw the first end."""
    line = Line(sqlite_store, start_ms=START_MS + 5 * HOUR_MS, sown_d=20, step_ms=HOUR_MS)  # 11:00Z
    up_long_ago(line)
    days_before(line, 16, cold_nights)

    def hours(count: int) -> None:
        for _ in range(count):
            line.step(replace(CALM, air_c=cold_nights((line.at_ms / HOUR_MS + 1) % 24), open_air_c=20.0))

    hours(15)  # 2 o'clock
    assert line.of("frost") == ["opened"]
    if away_h:
        line.at_ms += away_h * HOUR_MS
        line.garden.clock.ms = line.at_ms
        line.restart()
    hours(24 - away_h)
    assert line.of("frost") == ["opened"] * 2
