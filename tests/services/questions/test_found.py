"""What the host has found at its own pace is part of what needs the grower now."""

from dataclasses import replace

from tests.services.timelines import CALM, Line
from tests.services.watched_garden import HOUR_MS
from traywarden.services.hushing import Wish, put_hush
from traywarden.services.questions.ground import ground
from traywarden.services.questions.today import TodayAnswer, ask_today
from traywarden.store import garden as garden_store
from traywarden.store.store import Store

HOT_FRAME = replace(CALM, air_c=31.0)


def today(line: Line, later_ms: int = 0) -> TodayAnswer:
    with line.store.read() as tx:
        garden = garden_store.the_garden(tx)
        assert garden is not None
        return ask_today(ground(tx, garden, line.garden.settings, line.at_ms + later_ms))


def test_a_frame_that_is_too_hot_is_among_what_needs_one_until_it_is_over(sqlite_store: Store) -> None:
    line = Line(sqlite_store, {"vent__open_delay_s": 0.0, "vent__close_delay_s": 0.0})
    line.run(CALM, 2)
    calm = today(line)
    assert (calm.found, calm.quiet) == ((), ("A",))
    line.run(HOT_FRAME, 1)
    (found,) = today(line).found
    assert today(line).quiet == (), "what stands in it is not all well"
    assert (found.about, found.name, found.rule, found.severity) == ("place", "frame", "vent", "urgent")
    assert found.do
    assert "31" in found.why
    line.run(CALM, 2)
    assert today(line).found == ()


def test_a_hushed_place_shows_as_hushed_and_a_host_that_stood_still_claims_nothing(
    sqlite_store: Store,
) -> None:
    line = Line(sqlite_store, {"vent__open_delay_s": 0.0})
    line.run(HOT_FRAME, 1)
    with line.store.write() as tx:
        put_hush(tx, Wish("3 h", place="frame", who="Ana"), line.garden.settings, line.at_ms)
    (found,) = today(line).found
    assert found.hushed is not None
    assert found.hushed.who == "Ana"
    assert today(line, later_ms=7 * HOUR_MS).found == ()
