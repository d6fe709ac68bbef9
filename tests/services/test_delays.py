"""Delays for a crop, a mix or a stage: told after as long as is given for what stands there."""

from dataclasses import replace
from pathlib import Path

import pytest

from tests.services.timelines import CALM, Line
from tests.services.watched_garden import (
    DRY,
    HOUR_MS,
    MINUTE_MS,
    START_MS,
    WET,
    WatchedGarden,
    settings_with,
)
from tests.system.hosts import made_home
from traywarden.domain.episodes import Delays, RuleState, fold, rewound
from traywarden.domain.journal import Kind
from traywarden.domain.rules import Answer, Verdict
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.errors import UnknownNameError, UsageError
from traywarden.services.asking.standing import paced_rules
from traywarden.services.delays import delays_of
from traywarden.services.doctor import ask_doctor
from traywarden.services.host import Host
from traywarden.services.knowledge import Knowledge
from traywarden.services.level_names import idle_levels, key_for
from traywarden.services.questions.explained import ask_explain
from traywarden.services.questions.ground import ground
from traywarden.services.questions.replayed import ReplayAsked, ask_replay
from traywarden.services.questions.today import ask_today
from traywarden.settings import Settings, load
from traywarden.store import garden as garden_store
from traywarden.store.crops import load_crops
from traywarden.store.store import Store


def given(**overrides: float) -> Settings:
    """`dry__crop__tomato__open_delay_s=7200.0` over the settings by default."""
    return replace(settings_with(), overrides={k.replace("__", "."): v for k, v in overrides.items()})


@pytest.mark.parametrize(
    ("overrides", "minutes"),
    [
        ({}, 30),
        ({"dry__crop__tomato__open_delay_s": 3600.0}, 60),
        ({"dry__mix__peat__open_delay_s": 600.0}, 10),
        ({"dry__stage__sown__open_delay_s": 1200.0}, 20),
        ({"dry__crop__tomato__open_delay_s": 3600.0, "dry__mix__peat__open_delay_s": 600.0}, 60),
        ({"dry__crop__lettuce__open_delay_s": 3600.0, "dry__stage__seedling__open_delay_s": 600.0}, 30),
    ],
)
def test_a_tray_is_called_dry_after_the_delay_of_what_stands_in_it(
    sqlite_store: Store, overrides: dict[str, float], minutes: int
) -> None:
    garden = WatchedGarden(sqlite_store, given(**overrides))
    garden.run(START_MS, START_MS + minutes * MINUTE_MS, moisture=DRY)
    assert garden.kinds() == []
    garden.see(START_MS + minutes * MINUTE_MS, DRY)
    assert garden.kinds() == [["opened"]]
    (episode,) = garden.episodes()
    assert episode.opened_ms == START_MS, "it began when it began, however late it is told"


def test_the_closing_delay_follows_the_stage_of_that_moment(sqlite_store: Store) -> None:
    """Sown seed is over at once; seedlings only after an hour. It comes up while it is being watered."""
    garden = WatchedGarden(
        sqlite_store,
        given(dry__stage__emerging__close_delay_s=3600.0, dry__stage__sown__close_delay_s=7200.0),
    )
    at_ms = garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    garden.write(Kind.EMERGED, at_ms + 5 * MINUTE_MS)
    end_ms = garden.run(at_ms, at_ms + HOUR_MS, moisture=WET)
    assert garden.episodes()[0].closed_ms is None
    garden.see(end_ms, WET)
    assert garden.episodes()[0].closed_ms == at_ms


def test_late_readings_and_pieces_give_the_same_episodes_where_delays_differ_by_stage(
    sqlite_store: Store,
) -> None:
    """Folded in one piece, and rewound to anywhere in the middle, the same stretches are found."""
    turn_ms = 50 * MINUTE_MS
    delays = Delays(
        90 * MINUTE_MS,
        30 * MINUTE_MS,
        60 * MINUTE_MS,
        lambda at_ms: (90 * MINUTE_MS, 0) if at_ms < turn_ms else (20 * MINUTE_MS, 30 * MINUTE_MS),
    )
    yes, no = Verdict(Answer.YES, ""), Verdict(Answer.NO, "")
    judged = [(n * 10 * MINUTE_MS, yes if n < 9 or n > 14 else no) for n in range(24)]
    _, whole = fold(RuleState(), judged, delays)
    assert [(s.opened_ms, s.opening_decided_ms, s.closed_ms) for s in whole] == [
        (0, turn_ms, 90 * MINUTE_MS),
        (150 * MINUTE_MS, 170 * MINUTE_MS, None),
    ]
    for late_ms in range(0, 230 * MINUTE_MS, 7 * MINUTE_MS):
        back = rewound([], late_ms, delays)
        assert late_ms - back.judged_to_ms > 90 * MINUTE_MS, "the longest delay there is decides how far"


def test_a_place_goes_by_what_stands_in_it(sqlite_store: Store) -> None:
    settings = given(
        vent__crop__tomato__open_delay_s=1800.0,
        vent__stage__empty__open_delay_s=1.0,
        vent__crop__tomato__close_delay_s=7200.0,
    )
    garden = WatchedGarden(sqlite_store, settings, trays=2)
    at_ms = START_MS
    with sqlite_store.read() as tx:
        knowledge = Knowledge(tx, load_crops())
    place = Subject(SubjectKind.PLACE, garden.place.place_id)
    vent = next(each.rule for each in paced_rules(settings) if each.rule.name == "vent")
    here = delays_of(vent, settings.levels("vent"), knowledge, place, 1)
    assert here.at(at_ms) == (1_800_000, 7_200_000)
    assert here.at(START_MS - 10 * 86_400_000) == (600_000, 3_600_000), "nothing stood there then"
    assert here.reach_ms == 7_200_001


def test_a_rule_by_the_clock_waits_as_long_as_is_given_for_its_trays(sqlite_store: Store) -> None:
    hot = replace(CALM, air_c=45.0)
    line = Line(sqlite_store)
    line.garden.settings = given(vent__crop__tomato__open_delay_s=7200.0)
    line.restart()
    line.run(hot, 1.5)
    assert line.of("vent") == []
    line.run(hot, 1.0)
    assert line.of("vent") == ["opened"]


def test_explain_today_and_replay_go_by_the_same_delays(sqlite_store: Store) -> None:
    settings = given(dry__crop__tomato__open_delay_s=7200.0)
    garden = WatchedGarden(sqlite_store, settings)
    end_ms = garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    with sqlite_store.read() as tx:
        place = garden_store.the_garden(tx)
        assert place is not None
        on = replace(ground(tx, place, settings, end_ms), now_ms=end_ms)
        told, needs = ask_explain(on, "dry", "A"), ask_today(on).needs
        replayed = ask_replay(on, ReplayAsked(rules=("dry",)))
        sooner = ask_replay(on, ReplayAsked(rules=("dry",), changes=("dry.crop.tomato.open_delay_s=600",)))
    assert told.turns_in_s == 3600.0
    used = {each.key: (each.value, each.known_from) for each in told.settings}
    assert used["dry.crop.tomato.open_delay_s"] == (7200.0, "given for crop tomato")
    assert [need.rule for need in needs] == []
    assert (len(replayed.notices), len(sooner.notices)) == (0, 1)


def test_a_name_that_nothing_has_is_told_with_what_is_near(sqlite_store: Store) -> None:
    WatchedGarden(sqlite_store)
    settings = given(
        dry__crop__tomatoes__open_delay_s=1.0,
        dry__crop__tomato__open_delay_s=1.0,
        dry__mix__Peat__line_times=1.0,
        dry__mix__peat__line_times=1.0,
    )
    with sqlite_store.read() as tx:
        assert idle_levels(tx, settings) == [
            "dry.crop.tomatoes.open_delay_s counts for nothing: there is no crop called “tomatoes”; did you "
            "mean “tomato”?",
            "dry.mix.Peat.line_times counts for nothing: there is no mix called “Peat”; did you mean “peat”?",
        ]


@pytest.mark.parametrize(
    ("setting", "whom", "found"),
    [
        ("dry.open_delay_s", {"crop": "Tomatoes"}, "dry.crop.tomato.open_delay_s"),
        ("dry.open_delay_s", {"mix": "peat"}, "dry.mix.peat.open_delay_s"),
        ("dry.open_delay_s", {}, "dry.open_delay_s"),
        ("quiet.open_delay_s", {"mix": "peat"}, UsageError),
        ("dry.open_delay_s", {"mix": "peat", "stage": "sown"}, UsageError),
        ("dry.open_delay_s", {"stage": "young"}, UnknownNameError),
        ("dry.open_delay_s", {"mix": "bark"}, UnknownNameError),
        ("broker.port", {}, UnknownNameError),
        ("dry.crop.Tomatoes.open_delay_s", {}, "dry.crop.tomato.open_delay_s"),
        ("dry.crop.tomatto.open_delay_s", {}, UnknownNameError),
        ("dry.stage.young.open_delay_s", {}, UsageError),
        ("dry.crop.tomato.opened_s", {}, UsageError),
        ("dry.crop.tomato.open_delay_s", {"stage": "sown"}, UsageError),
    ],
)
def test_a_level_is_given_by_the_names_a_grower_types(
    sqlite_store: Store, setting: str, whom: dict[str, str], found: str | type[Exception]
) -> None:
    WatchedGarden(sqlite_store)
    with sqlite_store.read() as tx:
        if isinstance(found, str):
            assert key_for(tx, setting, **whom) == found
        else:
            with pytest.raises(found):
                key_for(tx, setting, **whom)


def test_doctor_and_the_start_of_a_host_say_what_counts_for_nothing(tmp_path: Path) -> None:
    made_home(tmp_path, broker__port=0)
    with (tmp_path / "settings.toml").open("a") as file:
        file.write("[dry.crop.letuce]\nopen_delay_s = 60\n")
    settings = load(tmp_path, {})
    (check,) = [c for c in ask_doctor(settings, START_MS).checks if c.name == "levels"]
    assert not check.ok
    assert check.says.endswith("there is no crop called “letuce”; did you mean “lettuce”?")
    said: list[str] = []
    with Host(settings, say=said.append):
        pass
    assert any("dry.crop.letuce.open_delay_s counts for nothing" in line for line in said)
