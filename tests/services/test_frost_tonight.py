"""What the rule about frost says of a frame on one evening, after nights of which all is known."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from tests.services.questions.conftest import grounded
from tests.services.rule_worlds import up_long_ago
from tests.services.timelines import CALM, Line, World
from tests.services.watched_garden import HOUR_MS, MINUTE_MS, START_MS
from traywarden.domain.rules import Answer, Verdict
from traywarden.services.asking.places import a_place, frost
from traywarden.services.asking.round import Round, Vitals
from traywarden.services.knowledge import Knowledge
from traywarden.store.crops import load_crops
from traywarden.store.store import Store

MIDNIGHT_MS = START_MS - 6 * HOUR_MS


def house(store: Store, air: Callable[[int], float], until_h: float, *, since_h: float = -9 * 24) -> Line:
    """A heated house with tomatoes that are up, measured every half hour; hours count from midnight."""
    line = Line(store, start_ms=MIDNIGHT_MS + round(until_h * HOUR_MS), sown_d=20)
    up_long_ago(line)

    def world(at_ms: int) -> World:
        return replace(CALM, air_c=air(at_ms))

    first_ms = MIDNIGHT_MS + round(since_h * HOUR_MS)
    line.measure_all(range(first_ms, line.start_ms + 1, 30 * MINUTE_MS), world, sent_then=True)
    return line


def said(line: Line, hour: float) -> Verdict:
    now_ms = MIDNIGHT_MS + round(hour * HOUR_MS)
    with grounded(line.store, now_ms) as ground:
        asked = Round(ground, lambda: Knowledge(ground.tx, load_crops()), Vitals())
        return frost(asked)[a_place(line.frame)]


def warm(at_ms: int) -> float:
    del at_ms
    return 19.0


def heater_fails(at_ms: int) -> float:
    """At 18:30; it loses 4.5 °C an hour."""
    return 19.0 - 4.5 * max(0.0, (at_ms - MIDNIGHT_MS) / HOUR_MS - 18.5)


def chilly_nights(at_ms: int) -> float:
    """Down to 3 °C at 5 o'clock, up to 22 °C at 17 o'clock."""
    return 12.5 - 9.5 * math.cos((at_ms / HOUR_MS - 5) / 24 * 2 * math.pi)


def test_a_house_that_was_warm_every_night_and_is_not_tonight_is_told(sqlite_store: Store) -> None:
    line = house(sqlite_store, heater_fails, 22.5)
    assert said(line, 18.5).answer is Answer.NO
    assert "far above" in said(line, 18.5).reason
    assert said(line, 22.5).answer is Answer.YES


def test_a_warm_house_whose_air_falls_silent_is_blind(sqlite_store: Store) -> None:
    line = house(sqlite_store, warm, 14.0)
    found = said(line, 22.0)
    assert (found.answer, found.reason) == (
        Answer.BLIND,
        "no air temperature was measured here in the last 6 h",
    )


@pytest.mark.parametrize(("since_h", "far"), [(-24 - 3, False), (-9 * 24, True)])
def test_whole_nights_must_be_known_before_a_night_need_not_be_foretold(
    sqlite_store: Store, since_h: float, far: bool
) -> None:
    """One hour of a night is no week."""
    line = house(sqlite_store, warm, 18.5, since_h=since_h)
    assert ("far above" in said(line, 18.5).reason) is far


def test_a_tender_plant_is_told_of_every_chilly_night_however_many_went_before(sqlite_store: Store) -> None:
    """It was covered in these nights, as it was told: nothing has hardened it."""
    line = house(sqlite_store, chilly_nights, 6 * 24 + 21.0)
    found = said(line, 6 * 24 + 21.0)
    assert found.answer is Answer.YES
    assert found.facts["limit_c"] == 7.2


def door_blows_open(at_ms: int) -> float:
    """At 20:05; it is down at 4 °C at once."""
    return 19.0 if at_ms < MIDNIGHT_MS + (20 * 60 + 5) * MINUTE_MS else 4.0


def test_a_fall_to_the_level_of_frost_is_seen_within_the_first_half_of_an_hour(sqlite_store: Store) -> None:
    line = house(sqlite_store, door_blows_open, 20.25, since_h=-9 * 24 + 1 / 6)
    assert said(line, 20.0).answer is Answer.NO
    found = said(line, 20.25)
    assert found.answer is Answer.YES
    assert found.facts["low_c"] == 4.0
