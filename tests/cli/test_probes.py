"""Probes and heads by command."""

import pytest

from tests.cli.conftest import NOW_MS, CommandLine
from traywarden.domain.readings import BOOT_IMPORTED, Reading
from traywarden.services.probe_settings import wanted_settings
from traywarden.settings import load
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.crops import load_crops

HOUR_MS = 3_600_000


@pytest.fixture
def reported(garden: CommandLine) -> CommandLine:
    """Probe b1 with its air sensor and two heads has reported, an hour ago last."""
    rows = [
        Reading("b1", head, 1, n, NOW_MS - HOUR_MS * (3 - n), NOW_MS, moisture_v=1.9, battery_v=3.9 - n / 10)
        for head in (0, 1, 2)
        for n in range(3)
    ]
    with garden.store() as store, store.write() as tx:
        reading_store.insert(tx, rows)
    return garden


def test_heads_that_are_nowhere_wait_with_the_command_that_places_them(reported: CommandLine) -> None:
    words = reported.ok("probe", "list")
    assert "traywarden probe place b1/1 --tray TRAY" in words
    assert "traywarden probe place b1/0 --place PLACE" in words
    assert "3.70 V" in words
    (card,) = reported.json("probe", "list")
    assert [head["waiting"] for head in card["heads"]] == [True, True, True]


def test_a_head_is_placed_and_taken_out(reported: CommandLine) -> None:
    words = reported.ok("probe", "place", "b1/1", "--tray", "a1", "--at", "3 days ago")
    assert "Head b1/1 is in tray “A1” since 2026-06-07 15:00." in words
    (card,) = reported.json("probe", "list")
    assert [head["waiting"] for head in card["heads"]] == [
        False,
        False,
        True,
    ]  # its air sensor is where it is
    assert card["heads"][1]["tray"] == "A1"
    assert reported.json("tray", "show", "A1")["heads"] == ["b1/1"]
    assert "already in tray “A1”" in reported.refused("probe", "place", "b1/1", "--tray", "A1")
    assert "in no tray and no place since" in reported.ok("probe", "take-out", "b1/1")
    assert "in no tray and no place at that time" in reported.refused("probe", "take-out", "b1/1")


def test_a_head_placed_before_its_tray_stood_anywhere_says_what_is_not_known(reported: CommandLine) -> None:
    words = reported.ok("probe", "place", "b1/1", "--tray", "A1", "--at", "2 days ago")
    assert "is not known" not in words
    reported.ok("tray", "add", "New one", "--mix", "Seed mix", "--place", "South frame")
    words = reported.ok("probe", "place", "b1/2", "--tray", "New one", "--at", "2 days ago")
    assert "Where the tray stood then is not known" in words
    assert "traywarden moved 'New one' --to PLACE --at" in words


def test_the_air_sensor_hangs_in_a_place_and_in_no_tray(reported: CommandLine) -> None:
    assert "hangs in “South frame”" in reported.ok("probe", "place", "b1/0", "--place", "south frame")
    assert "already hangs in “South frame”" in reported.refused(
        "probe", "place", "b1/0", "--place", "South frame"
    )
    assert "own air sensor" in reported.refused("probe", "place", "b1/0", "--tray", "A1")
    assert "--tray or --place, one of them" in reported.refused("probe", "place", "b1/1")


def test_degree_days_of_a_place_with_air_alone_say_to_ask_for_its_air(reported: CommandLine) -> None:
    with reported.store() as store, store.write() as tx:
        rows = [Reading("b1", 0, 2, n, NOW_MS - HOUR_MS * (9 - n), NOW_MS, air_temp_c=12.0) for n in range(9)]
        reading_store.insert(tx, rows)
    reported.ok("probe", "place", "b1/0", "--place", "South frame", "--at", "2 days ago")
    words = ("degree-days", "--place", "South frame", "--base", "5", "--from", "yesterday")
    assert "add --air" in reported.refused(*words, code=9)
    reported.ok(*words, "--air")


def test_a_logger_from_a_file_is_not_said_to_have_been_heard(garden: CommandLine) -> None:
    with garden.store() as store, store.write() as tx:
        at_ms = NOW_MS - 90 * 24 * HOUR_MS
        reading_store.insert(tx, [Reading("log", 1, BOOT_IMPORTED, at_ms, at_ms, NOW_MS, soil_temp_c=9.0)])
    assert "from a file" in garden.ok("probe", "list")


def test_an_unknown_head_says_what_is_near_or_that_none_has_reported(
    reported: CommandLine, tmp_path_factory: pytest.TempPathFactory
) -> None:
    assert "did you mean “b1/2”" in reported.refused("probe", "place", "b2/2", "--tray", "A1")


def test_before_any_probe_has_reported_there_is_nothing_to_place(garden: CommandLine) -> None:
    assert "No probe has reported yet" in garden.refused("probe", "place", "b1/1", "--tray", "A1")


def test_replaying_while_no_host_runs_says_to_start_it(reported: CommandLine) -> None:
    words = ("replay", "--from-store", "--probe", "b1", "--as", "b1-again")
    assert "start it with “traywarden run”" in reported.refused(*words, code=7)


def test_what_a_probe_answered_to_its_settings_is_listed(reported: CommandLine) -> None:
    with reported.store() as store, store.write() as tx:
        probe_store.set_state(
            tx, "b1", {"settings_revision": 1, "settings_refused": "send_s is short"}, NOW_MS
        )
    assert "refused: send_s is short" in reported.ok("probe", "list")
    with reported.store() as store:
        with store.read() as tx:
            wanted = wanted_settings(tx, load(reported.home, environ={}), load_crops(), NOW_MS)
        with store.write() as tx:
            state = {"settings_revision": wanted["b1"]["revision"]}
            probe_store.set_state(tx, "b1", state, NOW_MS)
    assert reported.json("probe", "list")[0]["settings"] == "taken"
    reported.ok("probe", "place", "b1/1", "--tray", "A1")
    assert reported.json("probe", "list")[0]["settings"] == "not taken yet"
