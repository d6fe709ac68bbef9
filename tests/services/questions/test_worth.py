"""Notices counted by what they led to, on a garden whose clock the test drives."""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from tests.services.test_telling_times import ToldGarden
from tests.services.watched_garden import COLD_C, DRY, HOUR_MS, START_MS, settings_with
from traywarden.domain.journal import Kind
from traywarden.domain.notices import NoticeState
from traywarden.services.questions.ground import ground
from traywarden.services.questions.worth import WorthAnswer, WorthLine, WorthRule, ask_worth, by_rule
from traywarden.settings import changed
from traywarden.store import garden as garden_store
from traywarden.store import notices as notice_store
from traywarden.store.store import Store


def asked(g: ToldGarden, days: float = 60.0) -> WorthAnswer:
    with g.store.read() as tx:
        the_garden = garden_store.the_garden(tx)
        assert the_garden is not None
        return ask_worth(ground(tx, the_garden, g.settings, g.clock.ms), days)


@pytest.fixture(scope="module")
def garden(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ToldGarden]:
    """Seven cold mornings of three hours nobody minds, and a long one after which the tray is moved."""
    settings = settings_with(
        cold__open_delay_s=3600.0, cold__close_delay_s=600.0, notices__remind_after_s=0.0
    )
    store = Store.open(f"sqlite:///{tmp_path_factory.mktemp('worth') / 'garden.sqlite3'}")
    g = ToldGarden(store, settings, trays=1)
    for day in range(8):
        start = START_MS + day * 24 * HOUR_MS
        g.to(start, 2 * HOUR_MS)
        g.to(start + (3 if day < 7 else 10) * HOUR_MS, 30 * 60_000, soil_c=COLD_C)
        g.to(g.clock.ms + HOUR_MS, 15 * 60_000)
        if day == 7:
            g.write(Kind.MOVED, g.clock.ms, place_id=g.place.place_id)
    g.to(START_MS + 9 * 24 * HOUR_MS, 2 * HOUR_MS)
    yield g
    store.close()


def test_each_rule_and_tray_says_how_many_led_to_something(garden: ToldGarden) -> None:
    (line,) = asked(garden).lines
    assert (line.words, line.name, line.told, line.answered) == ("too cold", "A", 8, 1)


def test_a_delay_is_proposed_that_would_have_spared_the_rest_and_it_does(garden: ToldGarden) -> None:
    (proposal,) = asked(garden).proposals
    assert (proposal.setting, proposal.now, proposal.value) == ("cold.open_delay_s", 3600.0, 11_700.0)
    assert "Of 8 notices “too cold” 1 led to something being done." in proposal.says
    assert "7 of those nobody acted on would not have come" in proposal.says
    assert asked(garden).proposals == (proposal,), "asking changes nothing"


@pytest.mark.parametrize(
    ("overrides", "setting", "whom", "command"),
    [
        ({}, "cold.open_delay_s", "", "cold.open_delay_s 11700"),
        ({"cold.crop.tomato.open_delay_s": 3600.0}, "cold.crop.tomato.open_delay_s", "crop tomato",
         "cold.open_delay_s 11700 --crop tomato"),
        ({"cold.mix.peat.open_delay_s": 3600.0}, "cold.mix.peat.open_delay_s", "mix peat",
         "cold.open_delay_s 11700 --mix peat"),
        ({"cold.crop.lettuce.open_delay_s": 60.0}, "cold.open_delay_s", "", "cold.open_delay_s 11700"),
    ],
)  # fmt: skip
def test_it_is_proposed_where_the_notices_came_from(
    garden: ToldGarden, overrides: dict[str, float], setting: str, whom: str, command: str
) -> None:
    settings = replace(garden.settings, overrides=overrides)
    with garden.store.read() as tx:
        the_garden = garden_store.the_garden(tx)
        assert the_garden is not None
        (proposal,) = ask_worth(ground(tx, the_garden, settings, garden.clock.ms)).proposals
    assert (proposal.setting, proposal.whom) == (setting, whom)
    assert proposal.command == f"traywarden notices set {command}"
    taken = changed(settings, {proposal.setting: f"{proposal.value:g}"})
    again = replace(garden.settings, values=taken.values, overrides=taken.overrides)
    with garden.store.read() as tx:
        assert ask_worth(ground(tx, the_garden, again, garden.clock.ms)).proposals == ()


def test_what_was_never_told_or_lies_too_far_back_does_not_count(garden: ToldGarden) -> None:
    assert asked(garden, days=2.5).lines[0].told == 1
    assert asked(garden, days=0.5).lines == ()


def test_what_was_told_lately_may_still_lead_to_something(sqlite_store: Store) -> None:
    g = ToldGarden(sqlite_store, settings_with(), trays=1)
    g.to(START_MS + 2 * HOUR_MS, A=DRY)
    assert (asked(g).lines, asked(g).waiting) == ((), 1)
    g.write(Kind.WATERED, g.clock.ms)
    (line,) = asked(g).lines
    assert (line.told, line.answered) == (1, 1)


def test_a_deed_that_comes_too_late_or_was_another_does_not_count(sqlite_store: Store) -> None:
    g = ToldGarden(sqlite_store, settings_with(), trays=1)
    g.to(START_MS + HOUR_MS, A=DRY)
    g.write(Kind.NOTED, g.clock.ms, note="hm")
    g.to(START_MS + 8 * HOUR_MS, A=DRY)
    g.write(Kind.WATERED, g.clock.ms)
    (line,) = asked(g).lines
    assert (line.told, line.answered) == (1, 0)


def test_a_garden_that_was_played_is_counted_by_its_own_days(garden: ToldGarden) -> None:
    """Its deliveries are all of the minute in which it was played."""
    before, now_ms = asked(garden), garden.clock.ms
    with garden.store.write() as tx:
        sent = notice_store.in_states(tx, NoticeState.SENT)
        for notice in sent:
            notice_store.mark_sent(tx, notice.notice_id, now_ms)
    try:
        assert asked(garden) == before
    finally:
        with garden.store.write() as tx:
            for notice in sent:
                notice_store.mark_sent(tx, notice.notice_id, notice.sent_ms or now_ms)


def test_a_notice_of_several_rules_is_answered_within_the_time_of_each(sqlite_store: Store) -> None:
    """Dry and cold at once came as one urgent notice: the cold one may still wait for a day."""
    settings = settings_with(notices__remind_after_s=0.0, cold__open_delay_s=1800.0)
    g = ToldGarden(sqlite_store, settings, trays=1)
    g.to(START_MS + HOUR_MS, A=DRY, soil_c=COLD_C)
    g.to(START_MS + 5 * 24 * HOUR_MS, 2 * HOUR_MS, soil_c=COLD_C)
    assert len({n.notice_id for n in g.notices() for e, _ in n.changes if n.severity == "urgent"}) == 1
    within = {line.rule: line.within_s for line in asked(g).lines}
    assert within == {"dry": 6 * 3600.0, "cold": 24 * 3600.0}


def test_each_rule_stands_by_itself_and_names_what_was_told_in_vain() -> None:
    lines = [
        WorthLine("dry", "water now", "tray", name, told, answered, 21_600.0)
        for name, told, answered in (("A", 2, 0), ("B", 1, 0), ("C", 3, 3))
    ]
    late = WorthLine("late", "seed is late", "tray", "A", 2, 2, 86_400.0)
    assert by_rule([late, *lines]) == (
        WorthRule("dry", "water now", 6, 3, 21_600.0, ("A",)),
        WorthRule("late", "seed is late", 2, 2, 86_400.0, ()),
    )
