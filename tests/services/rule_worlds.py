"""The world in which each rule comes to hold, wavers, falls silent and ends: one row for every rule."""

import math
from collections.abc import Collection
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from tests.services.timelines import CALM, HALF_HOUR_MS, SILENT, STEP_MS, WELL, Line, Scenario, World
from tests.services.watched_garden import DAY_MS, HOUR_MS, MINUTE_MS, START_MS
from traywarden.domain.journal import Kind
from traywarden.domain.notices import Notice, NoticeState
from traywarden.store import notices as notice_store
from traywarden.store import outside as outside_store
from traywarden.store.store import Store

L = TypeVar("L", bound=Line)
EVENING_MS = START_MS + 13 * HOUR_MS  # 19:00Z on 1 March
QUICK: dict[str, Any] = {
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
    "pulled__close_delay_s": 1800.0,
    "vent__close_delay_s": 1200.0,
    "late__close_delay_s": 0.0,
    "tilted__close_delay_s": 0.0,
}
"""The same rules with shorter delays: days of readings take seconds to judge."""


def vitals(**more: Any) -> World:
    return replace(CALM, vitals=replace(WELL, **more))


def up_long_ago(line: Line) -> None:
    line.write(Kind.EMERGED, line.start_ms - 10 * DAY_MS, tray_id=line.tray_id, data={"count": 30})


def opened_at_noon(line: Line) -> None:
    line.write(Kind.VENTED, line.start_ms - 6 * HOUR_MS, place_id=line.frame.place_id)


def hours_before(line: Line, hours: int, weather: World | None = None) -> None:
    """Hourly readings of hours that are over, in the air of cold nights or in one world."""
    times_ms = range(line.start_ms - hours * HOUR_MS, line.start_ms, HOUR_MS)
    line.measure_all(times_ms, cold_night if weather is None else weather, sent_then=True)


# Dry before the next visit: watered to 0.50 m³/m³ at 15 o'clock on both days before, then dried at its pace


def drying(at_ms: int) -> World:
    """At the dry line of 0.25 m³/m³ by 17:20; until 7 o'clock the next visit is the one at 8."""
    since_h = (at_ms - START_MS) / HOUR_MS + 15
    if since_h < -24:
        return replace(CALM, moisture_m3_m3=0.34)
    dried_h = since_h if since_h >= 0 else since_h + 24
    return replace(CALM, moisture_m3_m3=0.05 + 0.45 * math.exp(-dried_h / 32.4))


def drying_for_a_day(line: Line) -> None:
    times_ms = range(line.start_ms - 260 * STEP_MS, line.start_ms, STEP_MS)
    line.measure_all(times_ms, drying, sent_then=True)


def a_little_wetter(at_ms: int) -> World:
    """Dry a little after the visit."""
    world = drying(at_ms)
    assert world.moisture_m3_m3 is not None
    return replace(world, moisture_m3_m3=world.moisture_m3_m3 + 0.012)


# Frost: nights of the last fortnight down to −5 °C; in the evening a forecast goes to and fro


def cold_nights(hour: float) -> float:
    """Down to −5 °C at 5 o'clock, up to 11 °C at 17 o'clock."""
    return 3.0 - 8.0 * math.cos((hour - 5) / 24 * 2 * math.pi)


def cold_night(at_ms: int) -> World:
    air_c = cold_nights(at_ms / HOUR_MS % 24)
    return replace(CALM, air_c=air_c, open_air_c=air_c)


def nights_before(line: Line) -> None:
    up_long_ago(line)
    hours_before(line, 16 * 24)


MILD_C = 10.4
"""A forecast of so mild a night leaves a chance of a fifth that it is below 7.2 °C."""


def forecasts_in_the_evening(line: Line) -> None:
    """From 16 to 19 o'clock one an hour, of a night now mild, now cold; then none."""
    hour = line.at_ms // HOUR_MS % 24
    if hour == 20:
        with line.store.write() as tx:
            outside_store.forget(tx, "invented")
    if not 16 <= hour < 20:
        return
    times_ms = np.arange(24, dtype=np.int64) * HOUR_MS + line.at_ms // HOUR_MS * HOUR_MS
    air_c = np.array([cold_nights(at / HOUR_MS % 24) for at in times_ms])
    told_c = air_c if hour % 2 else np.maximum(air_c, MILD_C)
    with line.store.write() as tx:
        outside_store.put_forecast(tx, "invented", line.at_ms, times_ms, {"air_temp_c": told_c})


# Rain, hour by hour: what fell a day ago counts no more


RAIN_MM = {2: 4.0, 4: 4.0, 22: 13.0, 28: 4.0, 30: 4.0}
"""By the hour since the beginning: 21 mm in a day at 22, 17 at 27, 21 at 28, 17 at 29, 21 at 30."""


def showers(at_ms: int) -> World:
    return replace(CALM, rain_mm=RAIN_MM.get((at_ms - START_MS) // HOUR_MS, 0.0))


def in_the_open(line: Line) -> None:
    line.write(Kind.MOVED, line.at_ms - HOUR_MS, tray_id=line.tray_id, place_id=line.garden.place.place_id)


# Out of level: one watering a day, after which the north end settles lower, or does not


ABOVE_D = (0, 1, 2, 3, 4, 20, 21, 22, 23)
TILTED_D = (5, 6, 7, 8, 9, 10, 12, 13, 15, 16, 17, 18, 19)
TOLD_D = 10
"""The sixth watering from below in a row that left the same end drier: one in 32 by chance."""
MORNING_MS = START_MS + (TOLD_D - 3) * DAY_MS + 90 * MINUTE_MS
"""What is for one's information begins by day: looked at once a day, it is looked at in the morning."""


def ends(at_ms: int, tilted_d: Collection[int] = TILTED_D) -> World:
    """Watered at 8 o'clock; from below, the north end stays 0.06 m³/m³ drier on days when it is tilted."""
    since_h = (at_ms - START_MS) / HOUR_MS - 2  # the day begins at 6 o'clock
    day, hour = divmod(since_h, 24)
    fell = 0.16 * hour / 24
    tilt = 0.06 if day in tilted_d else 0.0
    return replace(CALM, moisture_m3_m3=0.50 - fell, other_m3_m3=0.49 - tilt - fell)


def watered(line: Line, day: int) -> None:
    at_ms = START_MS + day * DAY_MS + 2 * HOUR_MS
    line.write(
        Kind.WATERED, at_ms, tray_id=line.tray_id, data={"how": "above" if day in ABOVE_D else "below"}
    )


def watered_daily(line: Line) -> None:
    for day in range(line.at_ms // DAY_MS, (line.at_ms + line.step_ms) // DAY_MS):
        watered(line, day - START_MS // DAY_MS)


def with_two_ends(line: Line) -> None:
    line.second_head("north")
    for day in range(TOLD_D - 3):
        watered(line, day)
    line.measure_all(range(START_MS, line.start_ms, HALF_HOUR_MS), ends, sent_then=True)


def levelled(line: Line) -> None:
    line.write(Kind.LEVELLED, line.at_ms, tray_id=line.tray_id)


# Late seed, and notices given up


def warm_for_weeks(line: Line) -> None:
    hours_before(line, line.sown_d * 24 - 1, CALM)


def seen_up(line: Line) -> None:
    line.write(Kind.EMERGED, line.at_ms, tray_id=line.tray_id, data={"count": 3})


def one_given_up(line: Line) -> None:
    with line.store.write() as tx:
        lost = Notice("lost", "mail", "urgent", "Water now: A", "", (), line.at_ms, NoticeState.WAITING)
        notice_store.put(tx, [lost])
        notice_store.park(tx, "lost", "no such address")


def it_goes_out(line: Line) -> None:
    with line.store.write() as tx:
        notice_store.mark_sent(tx, "lost", line.at_ms)


AS_A_PROCESS, LATE_AS_A_PROCESS = ("dry", "vent", "quiet", "disk"), ("dry",)
"""One rule of a tray, a place, a probe and the host: played in tests/system/test_rule_timelines.py."""
NO_READINGS = {
    "late data": "it asks the host how it is now, and no readings: nothing of it can come in late",
}
SCENARIOS = (
    Scenario(
        "dry",
        replace(CALM, moisture_m3_m3=0.24),
        replace(CALM, moisture_m3_m3=0.36),
        wavers=(replace(CALM, moisture_m3_m3=0.26), replace(CALM, moisture_m3_m3=0.24)),
        opens_h=1,
        closes_h=0.5,
        late=("past",),
    ),
    Scenario(
        "cold",
        replace(CALM, soil_c=6.0),
        wavers=(replace(CALM, soil_c=10.5), replace(CALM, soil_c=6.0)),
        opens_h=1.5,
        closes_h=1,
        late=("past",),
    ),
    Scenario(
        "hot",
        replace(CALM, soil_c=37.0),
        wavers=(replace(CALM, soil_c=34.5), replace(CALM, soil_c=37.0)),
        opens_h=1.5,
        closes_h=1,
        late=("past",),
    ),
    Scenario(
        "waterlogged",
        replace(CALM, moisture_m3_m3=0.54),
        wavers=(replace(CALM, moisture_m3_m3=0.51), replace(CALM, moisture_m3_m3=0.54)),
        opens_h=1.5,
        closes_h=1,
        late=("past",),
    ),
    Scenario(
        "damp",
        replace(CALM, moisture_m3_m3=0.50),
        wavers=(replace(CALM, moisture_m3_m3=0.43), replace(CALM, moisture_m3_m3=0.50)),
        opens_h=1.5,
        closes_h=1,
        prepare=up_long_ago,
        sown_d=20,
        late=("past",),
    ),
    Scenario(
        "drying",
        drying,
        drying,
        replace(CALM, moisture_m3_m3=0.5),
        wavers=(a_little_wetter, drying),
        waver_steps=4,
        waver_ms=HOUR_MS,
        start_ms=START_MS - 3 * HOUR_MS,
        step_ms=HALF_HOUR_MS,
        coarse_ms=HOUR_MS,
        lead_h=3,
        opens_h=2.5,
        closes_h=4,
        late_lead_h=0,
        late_h=10,
        settings={"drying__evening_h": 16.7},
        prepare=drying_for_a_day,
        sown_d=3,
        says=("dry line of 45 %", "drying.morning_h"),
        late=(),
    ),
    Scenario(
        "late",
        CALM,
        step_ms=6 * HOUR_MS,
        every_ms=HOUR_MS,
        wavers=(replace(CALM, soil_c=12.0), CALM),
        lead_h=6,
        opens_h=24,
        dim_h=24,
        closes_h=6,
        prepare=warm_for_weeks,
        ends=seen_up,
        known=True,
        sown_d=7,
        says=("Tomato, sown 22 Feb, is late",),
        late=(),
        steady="the warmth seed has had only adds up: what is overdue stays so until some is seen up",
    ),
    Scenario(
        "tilted",
        ends,
        ends,
        wavers=(ends,),
        waver_steps=4,
        start_ms=MORNING_MS,
        step_ms=DAY_MS,
        every_ms=HALF_HOUR_MS,
        coarse_ms=3 * DAY_MS,
        lead_h=3 * 24,
        opens_h=24,
        dim_h=3 * 24,
        closes_h=2 * 24,
        prepare=with_two_ends,
        deed=watered_daily,
        ends=levelled,
        sown_d=20,
        says=("A stands out of level, high towards north", "Lower the high end"),
        late=(),
    ),
    Scenario(
        "frost",
        cold_night,
        cold_night,
        wavers=(cold_night,),
        waver_steps=4,
        step_ms=HOUR_MS,
        coarse_ms=5 * HALF_HOUR_MS,
        lead_h=5,
        opens_h=5,
        closes_h=5,
        late_lead_h=0,
        late_h=26,
        settings={"frost__from_h": 13.0},  # when air that was measured at five is known no more
        dim_h=7.5,
        prepare=nights_before,
        deed=forecasts_in_the_evening,
        sown_d=20,
        says=("Frost or chill tonight: frame", "A (Tomato): tender", "7.2 °C", "Minnesota", "Cover"),
        late=(),
    ),
    Scenario(
        "vent",
        replace(CALM, air_c=31.0),
        wavers=(replace(CALM, air_c=25.0), replace(CALM, air_c=31.0)),
        opens_h=1,
        closes_h=1,
        late=(),
    ),
    Scenario(
        "shut",
        replace(CALM, air_c=5.3, open_air_c=5.0),
        replace(CALM, air_c=12.0, open_air_c=5.0),
        wavers=(replace(CALM, air_c=6.5, open_air_c=5.0), replace(CALM, air_c=5.3, open_air_c=5.0)),
        waver_ms=15 * MINUTE_MS,
        opens_h=1,
        closes_h=0.5,
        prepare=opened_at_noon,
        start_ms=EVENING_MS,
        late=(),
    ),
    Scenario(
        "rain",
        showers,
        showers,
        replace(CALM, rain_mm=0.0),
        wavers=(showers,),
        waver_ms=HOUR_MS,
        step_ms=2 * HOUR_MS,
        every_ms=HOUR_MS,
        lead_h=2,
        opens_h=24,
        dim_h=4,
        closes_h=14,
        prepare=in_the_open,
        says=("21 mm of rain fell on A",),
        late=(),
    ),
    Scenario(
        "quiet",
        SILENT,
        dim=None,
        opens_h=3,
        closes_h=0.5,
        late=("opened", "closed"),  # its silence was told when it was silent
        own={
            "chatter": "test_a_probe_heard_now_and_then_is_quiet_once_each_time_it_is_silent_too_long",
            "gap": "test_silence_in_which_nothing_could_come_in_is_not_the_probes",
        },
    ),
    Scenario(
        "battery",
        replace(CALM, battery_v=3.4),
        wavers=(replace(CALM, battery_v=3.55), replace(CALM, battery_v=3.4)),
        step_ms=HALF_HOUR_MS,
        waver_ms=HOUR_MS,
        opens_h=2.5,
        closes_h=2.5,
        late=(),
    ),
    Scenario(
        "faulty",
        replace(CALM, soil_c=-127.0),
        wavers=(CALM, replace(CALM, soil_c=-127.0)),
        step_ms=HALF_HOUR_MS,
        coarse_ms=HOUR_MS,
        lead_h=1,
        opens_h=3,
        dim_h=7,
        closes_h=6,
        late=(),
    ),
    Scenario(
        "pulled",
        replace(CALM, moisture_m3_m3=0.02),
        wavers=(CALM, replace(CALM, moisture_m3_m3=0.02)),
        step_ms=HALF_HOUR_MS,
        lead_h=2,
        opens_h=2,
        closes_h=1,
        also=frozenset({"dry"}),  # one reading every half hour is too few to tell it from a dry tray in time
        late=(),
    ),
    Scenario(
        "clock",
        replace(CALM, extra='{"time_unsure":1.0}'),
        wavers=(CALM, replace(CALM, extra='{"time_unsure":1.0}')),
        step_ms=HALF_HOUR_MS,
        waver_ms=HOUR_MS,
        opens_h=2,
        closes_h=3,
        late=(),
    ),
    Scenario(
        "disk",
        vitals(free_mb=100.0),
        wavers=(vitals(free_mb=600.0), vitals(free_mb=100.0)),
        dim=vitals(free_mb=None),
        opens_h=0.5,
        closes_h=0.5,
        cannot=NO_READINGS,
    ),
    Scenario(
        "broker",
        vitals(broker_gone_s=400.0),
        wavers=(CALM, vitals(broker_gone_s=60.0)),
        waver_ms=MINUTE_MS,
        dim=vitals(broker_gone_s=None),
        opens_h=0.5,
        closes_h=0.5,
        cannot=NO_READINGS,
    ),
    Scenario(
        "slow",
        vitals(commit_s=9.0),
        wavers=(vitals(commit_s=4.0), vitals(commit_s=9.0)),
        dim=vitals(commit_s=None),
        opens_h=0.5,
        closes_h=0.5,
        cannot=NO_READINGS,
    ),
    Scenario(
        "parked",
        CALM,
        dim=None,
        opens_h=0.5,
        closes_h=0.5,
        begins=one_given_up,
        says=("no such address",),
        ends=it_goes_out,
        cannot=NO_READINGS
        | {
            "chatter": "a notice is given up or it is not: there is no level to be about",
            "gap": "it counts notices in the store, without which no rule at all is asked",
        },
    ),
)


def line_of(store: Store, of: Scenario, kind: type[L] = Line) -> L:  # type: ignore[assignment]
    """A garden about to live through it."""
    settings = QUICK | dict(of.settings)
    line = kind(store, settings, of.start_ms, of.sown_d, of.step_ms, of.every_ms, of.deed)
    of.prepare(line)
    return line
