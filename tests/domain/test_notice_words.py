"""The words of a notice: everything a person needs at the bench, and nothing made up."""

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from traywarden.domain.episodes import ChangeKind
from traywarden.domain.garden import PlaceKind
from traywarden.domain.notice_words import MOST_LINES, Reader, Told, Watered, words
from traywarden.domain.units import Display

HOUR_MS = 3_600_000
NOW_MS = round(datetime(2026, 3, 3, 14, 0, tzinfo=UTC).timestamp() * 1000)  # a Tuesday
READER = Reader(NOW_MS)
DRY: dict[str, Any] = {
    "moisture_m3_m3": 0.21,
    "dry_line_m3_m3": 0.275,
    "container_capacity_m3_m3": 0.55,
    "mix": "peat mix",
    "calibrated": True,
}
COLD: dict[str, Any] = {
    "soil_temp_c": 6.5,
    "floor_c": 10.0,
    "crop": "Tomato",
    "floor_kind": "published minimum",
    "floor_source": "Harrington's table",
}


def told(rule: str, kind: ChangeKind = ChangeKind.OPENED, tray: str = "A1", **more: Any) -> Told:
    given: dict[str, Any] = {"opened_ms": NOW_MS - HOUR_MS, "place": "open bench"}
    return Told(kind, rule, tray, **(given | more))


def test_water_now_names_tray_place_mix_moisture_line_watering_and_pour() -> None:
    watered = Watered(NOW_MS - 50 * HOUR_MS, "by the journal")
    said = words([told("dry", facts=DRY | {"pour_litres": 1.62}, watered=watered)], READER)
    assert said.title == "Water now: A1 (open bench)"
    assert said.body == (
        "Water A1 in open bench now: peat mix is at 38 % of container capacity (0.210 m³/m³), below its dry "
        "line of 50 % (0.275 m³/m³) since 13:00. Last watered 2 days 2 h ago (by the journal). "
        "About 1.6 l brings it back to container capacity."
    )


def test_what_is_not_known_is_said_or_left_out_and_never_guessed() -> None:
    said = words([told("dry", facts=DRY | {"calibrated": False}, place=None)], READER)
    assert "a place not known" in said.body
    assert "Last watered: not known." in said.body
    assert "brings it back" not in said.body
    assert "not calibrated in your mix" in said.body


def test_too_cold_names_crop_minimum_source_how_long_and_what_helps() -> None:
    said = words([told("cold", facts=COLD, opened_ms=NOW_MS - 5 * HOUR_MS)], READER)
    assert said.title == "Too cold: A1 (open bench)"
    assert said.body == (
        "Tomato in A1, open bench: the mix is at 6.5 °C; published minimum 10.0 °C (source: "
        "Harrington's table). Below it for 5 h, since 09:00. A cold frame, a cover or a sunnier place helps; "
        "or patience: the seed is not lost, it will only come up later."
    )


def test_a_tray_in_the_cold_frame_is_not_sent_to_a_cold_frame() -> None:
    framed = told("cold", facts=COLD, place="frame", place_kind=PlaceKind.COLD_FRAME)
    assert "A cold frame" not in words([framed], READER).body
    assert "Close the frame at night" in words([framed], READER).body


def test_a_recommended_range_is_not_called_a_minimum() -> None:
    flower = COLD | {"crop": "Pansy", "floor_kind": "recommended range begins at"}
    body = words([told("cold", facts=flower)], READER).body
    assert "; recommended range begins at 10.0 °C" in body
    assert "minimum" not in body


def test_fahrenheit_and_the_gardens_own_clock() -> None:
    reader = Reader(NOW_MS, ZoneInfo("America/New_York"), Display("F"))
    body = words([told("cold", facts=COLD)], reader).body
    assert "43.7 °F" in body
    assert "since 08:00" in body


def test_several_trays_are_counted_in_the_title_and_listed_in_the_text() -> None:
    said = words([told("dry", tray=t, facts=DRY) for t in ("A1", "A2", "B7")], READER)
    assert said.title == "Water now: 3 trays in open bench"
    assert [line.split(":")[0] for line in said.body.splitlines()] == ["• A1", "• A2", "• B7"]


def test_what_is_the_same_for_several_is_said_once_and_no_name_twice() -> None:
    peppers = [told("cold", tray=t, facts=COLD | {"crop": "Pepper"}) for t in ("Pepper 1", "B2")]
    said = words(peppers, READER).body.splitlines()
    assert said[0].startswith("For each: a cold frame, a cover or a sunnier place helps")
    assert said[1:] == [
        "• Pepper 1: the mix is at 6.5 °C; published minimum 10.0 °C. Below it for 1 h, since 13:00.",
        "• B2: Pepper, the mix is at 6.5 °C; published minimum 10.0 °C. Below it for 1 h, since 13:00.",
        "Source: Harrington's table.",
    ]
    ends = [told("dry", ChangeKind.CLOSED, tray=t, facts=DRY, closed_ms=NOW_MS) for t in ("A1", "A2")]
    assert words(ends, READER).body.splitlines()[0] == "• A1: above its dry line again since 14:00."


def test_what_is_not_the_same_for_all_stands_with_each() -> None:
    framed = told("cold", facts=COLD, place="frame", place_kind=PlaceKind.COLD_FRAME)
    lines = words([framed, told("cold", tray="A2", facts=COLD)], READER).body.splitlines()
    assert "Close the frame at night" in lines[0]
    assert "A cold frame" in lines[1]


def test_too_cold_says_by_when_where_the_sun_is_still_up() -> None:
    body = words([told("cold", facts=COLD, dark_ms=NOW_MS + 3 * HOUR_MS)], READER).body
    assert body.endswith("Best before dark, at 17:00.")


def test_a_tray_just_watered_was_not_watered_nought_minutes_ago() -> None:
    body = words([told("dry", facts=DRY, watered=Watered(NOW_MS, "by the journal"))], READER).body
    assert "Last watered just now (by the journal)." in body


def test_an_end_says_since_when_and_why() -> None:
    ended = told("cold", ChangeKind.CLOSED, facts=COLD, closed_ms=NOW_MS, reason="the Tomato is up")
    said = words([ended], READER)
    assert said.title == "Over: too cold, A1 (open bench)"
    assert said.body == "A1 has not been too cold for Tomato since 14:00: the Tomato is up."


def test_an_episode_that_never_was_is_taken_back_in_words() -> None:
    ended = told("dry", ChangeKind.CLOSED, facts=DRY | {"withdrawn": True}, closed_ms=NOW_MS)
    assert "late readings show that it was not so" in words([ended], READER).body


def test_a_digest_lists_what_is_past_oldest_first_and_counts_the_rest() -> None:
    past = [
        told(
            "dry",
            ChangeKind.PAST,
            tray=f"T{n}",
            opened_ms=NOW_MS - (n + 30) * HOUR_MS,
            closed_ms=NOW_MS - 29 * HOUR_MS,
        )
        for n in range(MOST_LINES + 5)
    ]
    said = words(past, READER)
    assert said.title == "While you were away: 45 needs came and went"
    lines = said.body.splitlines()
    assert lines[1].startswith(
        f"• T{MOST_LINES + 4} (open bench): below its dry line from Sat 28 Feb 12:00 to"
    )
    assert lines[-1] == "• and 5 more"


def test_a_rule_without_words_of_its_own_is_told_by_its_reason() -> None:
    said = words([told("wind", facts={"reason": "air at −2 °C"})], READER)
    assert said.title == "Wind: A1 (open bench)"
    assert said.body == "A1 (open bench): air at −2 °C since 13:00."


def test_nothing_to_tell_is_an_error() -> None:
    with pytest.raises(ValueError, match="at least one"):
        words([], READER)
