"""What needs the grower comes first, with number, threshold and what to do; the rest in its place."""

import math
from datetime import datetime, timedelta
from pathlib import Path

import msgspec
import pytest

from tests.services.little_garden import (
    CAPACITY,
    DAY_MS,
    DRY_LINE,
    NOW_MS,
    RESIDUAL,
    START_MS,
    STEP_MS,
    TAU_DAYS,
    WATERED_H,
    ZONE,
    LittleGarden,
    little_garden,
)
from tests.services.questions.conftest import grounded
from traywarden.domain.advice import what_helps_cold
from traywarden.domain.episodes import Episode
from traywarden.domain.garden import PlaceKind
from traywarden.domain.journal import Kind
from traywarden.domain.subjects import a_tray
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.soon import when_words
from traywarden.services.questions.today import ask_today
from traywarden.store import crops, episodes, garden, journal
from traywarden.store.store import Store


def _crossing_ms(tray: str) -> float:
    """When the tray passes its dry line after its last watering: the printed inversion of the model,
    t* = τ·ln((θ0 − θw)/(θ* − θw)) (soil-moisture notes, section 4)."""
    days = TAU_DAYS[tray] * math.log((CAPACITY - RESIDUAL) / (DRY_LINE - RESIDUAL))
    return START_MS + WATERED_H[tray][-1] * 3_600_000 + days * DAY_MS


def test_a_tray_below_its_dry_line_comes_first_with_since_when_and_how_much(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        answer = ask_today(ground)
    first = answer.needs[0]
    assert (first.tray, first.rule, first.severity, first.place) == (
        "tomatoes",
        "dry",
        "urgent",
        "Cold frame",
    )
    # Dry since the first reading under the line: within one interval of the model's crossing.
    assert abs(first.since.timestamp() * 1000 - _crossing_ms("tomatoes")) <= STEP_MS
    assert not first.since_at_least
    now = next(t for t in answer.trays if t.tray == "tomatoes")
    assert now.moisture_m3_m3 is not None
    assert now.moisture_fraction is not None
    assert now.moisture_fraction < 0
    # 3 l of mix back up to container capacity: volume × missing fraction.
    assert f"{3.0 * (CAPACITY - now.moisture_m3_m3):.1f} l" in first.do
    assert "dry line" in first.why


def test_too_cold_names_the_crop_its_minimum_and_the_source(little: LittleGarden) -> None:
    pepper = crops.crop_named("pepper")
    with grounded(little.store) as ground:
        cold = next(n for n in ask_today(ground).needs if n.rule == "cold" and n.tray == "peppers")
    assert "pepper" in cold.why.lower()
    assert cold.facts["floor_c"] == pepper.floor_c
    assert cold.source
    assert cold.severity == "warning"


def test_trays_that_reach_the_dry_line_within_a_day_are_told_by_when(little: LittleGarden) -> None:
    """Within 15 % of the time left: they dry by the clock alone, and towards 0.15, which no one told."""
    with grounded(little.store) as ground:
        soon = {s.tray: s for s in ask_today(ground).soon}
    assert set(soon) == {"lettuce", "peppers"}
    for tray, told in soon.items():
        left_ms = _crossing_ms(tray) - NOW_MS
        assert told.by.timestamp() * 1000 == pytest.approx(_crossing_ms(tray), abs=0.15 * left_ms)
        assert told.in_s < 86_400


def test_what_comes_soon_is_said_with_number_line_and_an_hour_that_is_not_too_precise(
    little: LittleGarden,
) -> None:
    with grounded(little.store) as ground:
        soon = {s.tray: s for s in ask_today(ground).soon}
    lettuce = soon["lettuce"]
    rounded = lettuce.by.replace(minute=30 * (lettuce.by.minute // 30))
    assert lettuce.when == f"by about {rounded:%H:%M} today"
    # By the model at 9:00: 0.15 + 0.4 · exp(−5.04 d / 5 d) of 0.55 is 54 %; the line is 0.28 of it.
    now_pct = (RESIDUAL + (CAPACITY - RESIDUAL) * math.exp(-5.0417 / TAU_DAYS["lettuce"])) / CAPACITY * 100
    assert lettuce.why == (
        f"it is at {now_pct:.0f} % of container capacity and, drying as it does, "
        f"falls to its dry line of {DRY_LINE / CAPACITY * 100:.0f} % by then"
    )


def test_a_tray_below_its_line_but_not_for_long_is_not_said_to_be_about_to_reach_it(
    little: LittleGarden,
) -> None:
    """Two hours after the tomatoes crossed their line; here water-now waits for a day below it."""
    now_ms = round(_crossing_ms("tomatoes")) + 7_200_000
    with grounded(little.store, now_ms, dry__open_delay_s=86_400.0) as ground:
        (told,) = [s for s in ask_today(ground).soon if s.tray == "tomatoes"]
    assert told.when == "any time now"
    assert "below its dry line of 51 %, though not for long yet" in told.why


@pytest.mark.parametrize(
    ("now", "in_h", "when"),
    [
        ("2026-03-16 09:00", 0.0, "any time now"),
        ("2026-03-16 09:00", 0.4, "any time now"),
        ("2026-03-16 09:00", 3.9, "by about 12:30 today"),
        ("2026-03-16 20:50", 9.1, "by about 05:30 tomorrow"),
        ("2026-03-16 23:50", 0.6, "by about 00:00 tomorrow"),
        ("2026-03-28 22:00", 8.0, "by about 07:00 tomorrow"),  # clocks go forward in the night
    ],
)
def test_the_hour_is_rounded_down_to_the_half_so_that_nobody_comes_too_late(
    now: str, in_h: float, when: str
) -> None:
    now_ms = round(datetime.fromisoformat(now).replace(tzinfo=ZONE).timestamp() * 1000)
    assert when_words(now_ms, in_h * 3600, ZONE) == when


@pytest.mark.parametrize("kind", list(PlaceKind))
def test_what_helps_against_cold_fits_the_place_it_stands_in(kind: PlaceKind) -> None:
    advice = what_helps_cold(kind)
    if kind is PlaceKind.COLD_FRAME:
        assert "a cold frame" not in advice
        assert "close the frame" in advice.lower()
    elif kind is PlaceKind.GREENHOUSE:
        assert "cold frame" not in advice
    else:
        assert "cold frame" in advice
    assert "later" in advice  # patience is always an answer


def test_a_tray_in_a_cold_frame_is_not_sent_into_one(tmp_path: Path) -> None:
    """At six in the morning of the second day the frame is at 9.5 °C, below the tomato's 10 °C."""
    made = little_garden(tmp_path, until_ms=START_MS + DAY_MS + 6 * 3_600_000)
    with grounded(made.store, START_MS + DAY_MS + 6 * 3_600_000) as ground:
        cold = {n.tray: n for n in ask_today(ground).needs if n.rule == "cold"}
    made.store.close()
    assert "Close the frame" in cold["tomatoes"].do
    assert "A cold frame" in cold["peppers"].do


def test_what_has_turned_but_is_not_over_is_marked_as_easing_and_comes_last(little: LittleGarden) -> None:
    """The frame was below the tomato's 10 °C at night; at nine it has been warm for under three hours."""
    with grounded(little.store) as ground:
        needs = ask_today(ground).needs
    easing = [n for n in needs if n.easing]
    assert [(n.tray, n.rule) for n in easing] == [("tomatoes", "cold")]
    assert needs[-1] == easing[0]


def test_a_tray_watered_an_hour_ago_in_a_warm_frame_is_quiet(little: LittleGarden) -> None:
    """On day 9 at 15:00 the tomatoes are wet and at 19 °C."""
    with grounded(little.store, START_MS + 9 * DAY_MS + 15 * 3_600_000) as ground:
        answer = ask_today(ground)
    assert "tomatoes" in answer.quiet
    now = next(t for t in answer.trays if t.tray == "tomatoes")
    assert now.since_watered_s == pytest.approx(7 * 3600 + STEP_MS / 1000, abs=1)
    assert {rule for rule, answer in now.answers.items() if answer == "yes"} == set()
    assert (now.answers["dry"], now.answers["cold"]) == ("no", "no")


def test_a_probe_gone_quiet_makes_its_trays_blind_and_closes_nothing(little: LittleGarden) -> None:
    with grounded(little.store, NOW_MS + 5 * 3_600_000) as ground:
        answer = ask_today(ground)
    assert {b.tray for b in answer.blind} >= {"lettuce"}
    assert all("nothing usable was measured for 5 h" in b.why for b in answer.blind)
    dry = next(n for n in answer.needs if (n.tray, n.rule) == ("tomatoes", "dry"))
    assert "5 h" in dry.blind
    assert next(t for t in answer.trays if t.tray == "lettuce").moisture_m3_m3 is None


def test_a_probe_silent_for_days_is_told_by_how_long_and_not_as_if_it_had_never_measured(
    tmp_path: Path,
) -> None:
    made = little_garden(tmp_path, until_ms=START_MS + DAY_MS)
    with grounded(made.store, START_MS + 6 * DAY_MS) as ground:
        answer = ask_today(ground)
    made.store.close()
    assert answer.needs == ()
    assert {(b.tray, b.rule) for b in answer.blind} >= {("lettuce", "dry"), ("lettuce", "cold")}
    assert {b.why for b in answer.blind} == {"nothing usable was measured for 5 days"}


def test_a_tray_that_was_dry_when_its_probe_fell_silent_days_ago_still_needs_water(tmp_path: Path) -> None:
    made = little_garden(tmp_path)
    tray_id, opened_ms = made.tray_ids["tomatoes"], NOW_MS - DAY_MS
    facts = {"moisture_m3_m3": 0.2, "pour_litres": 1.0}
    with made.store.write() as tx:
        episodes.keep_episode(
            tx, Episode(f"dry:{tray_id}:{opened_ms}", "dry", a_tray(tray_id), opened_ms, facts=facts)
        )
    with grounded(made.store, NOW_MS + 5 * DAY_MS) as ground:
        need = next(n for n in ask_today(ground).needs if (n.tray, n.rule) == ("tomatoes", "dry"))
    made.store.close()
    assert need.why == "it was below its dry line when it was last measured"
    assert need.blind == "nothing usable was measured for 5 days"
    assert "about 1.0 l" in need.do
    assert need.since.timestamp() * 1000 == opened_ms


def test_a_tray_watered_after_its_last_reading_is_not_sent_for_more_water(tmp_path: Path) -> None:
    made = little_garden(tmp_path)
    now_ms = NOW_MS + 600_000
    with made.store.write() as tx:
        journal.write(tx, Kind.WATERED, now_ms, now_ms, tray_id=made.tray_ids["tomatoes"])
    with grounded(made.store, now_ms + 60_000) as ground:
        need = next(n for n in ask_today(ground).needs if (n.tray, n.rule) == ("tomatoes", "dry"))
    made.store.close()
    assert need.do.startswith("It was watered after its last reading")


def test_a_tray_that_was_planted_out_will_not_need_water_within_a_day(tmp_path: Path) -> None:
    made = little_garden(tmp_path)
    with made.store.write() as tx:
        journal.write(tx, Kind.PLANTED_OUT, NOW_MS - 1, NOW_MS - 1, tray_id=made.tray_ids["lettuce"])
    with grounded(made.store) as ground:
        answer = ask_today(ground)
    made.store.close()
    assert "lettuce" not in {s.tray for s in answer.soon}
    assert "lettuce" in answer.quiet


def test_a_crop_without_a_published_minimum_is_told_where_its_range_begins(tmp_path: Path) -> None:
    made = little_garden(tmp_path)
    basil = crops.crop_named("basil")
    with made.store.write() as tx:
        at_ms = START_MS + DAY_MS
        journal.write(tx, Kind.PLANTED_OUT, at_ms, at_ms, tray_id=made.tray_ids["peppers"])
        journal.write(
            tx, Kind.SOWED, at_ms, at_ms, tray_id=made.tray_ids["peppers"], data={"crop": basil.key}
        )
    with grounded(made.store) as ground:
        need = next(n for n in ask_today(ground).needs if (n.tray, n.rule) == ("peppers", "cold"))
    made.store.close()
    assert need.why.endswith("is below 18.3 °C, where Basil's recommended range begins")


def test_a_tray_without_a_head_is_blind_and_says_so(tmp_path: Path) -> None:
    made = little_garden(tmp_path, until_ms=START_MS + DAY_MS)
    with made.store.write() as tx:
        garden.add_tray(tx, "bare")
    with grounded(made.store, START_MS + DAY_MS) as ground:
        blind = [b for b in ask_today(ground).blind if b.tray == "bare"]
    made.store.close()
    assert {b.why for b in blind} == {"no head is in it; place one with “traywarden probe place”"}


def test_a_state_older_than_the_look_back_is_dated_by_the_episode_the_host_kept(tmp_path: Path) -> None:
    made = little_garden(tmp_path)
    later_ms = NOW_MS
    opened_ms = later_ms - 10 * DAY_MS
    tray_id = made.tray_ids["peppers"]
    with grounded(made.store, later_ms) as ground:
        without = next(n for n in ask_today(ground).needs if (n.tray, n.rule) == ("peppers", "cold"))
    with made.store.write() as tx:
        episodes.keep_episode(tx, Episode(f"cold:{tray_id}:{opened_ms}", "cold", a_tray(tray_id), opened_ms))
    with grounded(made.store, later_ms) as ground:
        kept = next(n for n in ask_today(ground).needs if (n.tray, n.rule) == ("peppers", "cold"))
    made.store.close()
    assert without.since_at_least
    assert not kept.since_at_least
    assert kept.since.timestamp() * 1000 == opened_ms


def test_emergence_ends_the_question_whether_it_is_too_cold(tmp_path: Path) -> None:
    made = little_garden(tmp_path)
    with made.store.write() as tx:
        at_ms = NOW_MS - 3_600_000
        journal.write(tx, Kind.EMERGED, at_ms, at_ms, tray_id=made.tray_ids["peppers"], data={"count": 3})
    with grounded(made.store) as ground:
        answer = ask_today(ground)
    made.store.close()
    assert not [n for n in answer.needs if (n.tray, n.rule) == ("peppers", "cold")]
    now = next(t for t in answer.trays if t.tray == "peppers")
    assert now.emerged is not None
    assert now.emerged == answer.at - timedelta(hours=1)


def test_played_back_readings_are_judged_as_of_the_newest_of_them(little: LittleGarden) -> None:
    with grounded(little.store, NOW_MS + 400 * DAY_MS, host__clock="readings") as ground:
        assert ground.now_ms == NOW_MS
        assert ask_today(ground).needs[0].tray == "tomatoes"


def test_nothing_yet_is_one_helpful_sentence(empty: LittleGarden, tmp_path: Path) -> None:
    with grounded(empty.store) as ground, pytest.raises(ShortOfDataError, match="traywarden run"):
        ask_today(ground)
    with Store.open(f"sqlite:///{tmp_path / 'bare.sqlite3'}") as store:
        with store.write() as tx:
            garden.set_garden(tx, "Bare", "UTC", now_ms=0)
        with grounded(store) as ground, pytest.raises(UsageError, match="tray add"):
            ask_today(ground)


def test_the_answer_is_json_able(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        built = msgspec.to_builtins(ask_today(ground))
    assert built["needs"][0]["facts"]["dry_line_m3_m3"] == DRY_LINE
