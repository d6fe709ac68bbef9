"""Links of notices: opening one does nothing, its button does one thing once, and nobody guesses one."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from tests.services.little_garden import NOW_MS
from tests.services.test_channel_health import FRESH
from tests.services.watched_garden import DrivenClock, MemoryChannel
from tests.web.conftest import Visitor, words_of
from traywarden.domain.episodes import ChangeKind, Episode
from traywarden.domain.journal import Kind
from traywarden.domain.notices import Notice, NoticeState
from traywarden.domain.remedies import REMEDIES
from traywarden.domain.subjects import Subject, SubjectKind, a_tray
from traywarden.services.deliver import Deliver
from traywarden.services.link_deeds import BY_A_TAP
from traywarden.services.one_time import GOOD_FOR_MS, Act, Links
from traywarden.services.password import set_password
from traywarden.settings import Settings, load
from traywarden.store import episodes as episode_store
from traywarden.store import garden as garden_store
from traywarden.store import hushes as hush_store
from traywarden.store import notices as notice_store
from traywarden.store import probes as probe_store
from traywarden.web.attempts import FREE_TRIES

ADDRESS = "http://garden.example:8470"


def settings(visitor: Visitor) -> Settings:
    return load(visitor.home, environ={}, overrides={"notices.address": ADDRESS})


@pytest.fixture
def told(visitor: Visitor) -> Notice:
    """Two trays are dry, and one notice says so."""
    with visitor.store.write() as tx:
        ids = [garden_store.tray_named(tx, name).tray_id for name in ("lettuce", "peppers")]
        made = [Episode(f"dry:tray-{n}:5", "dry", a_tray(n), NOW_MS - 3_600_000) for n in ids]
        for episode in made:
            episode_store.keep_episode(tx, episode)
        changes = tuple((e.episode_id, ChangeKind.OPENED) for e in made)
        notice = replace(FRESH, changes=changes, created_ms=NOW_MS - 60_000)
        notice_store.put(tx, [notice])
    return notice


def path(visitor: Visitor, act: Act, notice_id: str = FRESH.notice_id) -> str:
    return Links(settings(visitor)).link(notice_id, act).removeprefix(ADDRESS)


def do(visitor: Visitor, path: str, status: int = 200) -> str:
    answer = visitor.client.post(path)
    assert answer.status_code == status, answer.text
    return words_of(answer.text)


def watered(visitor: Visitor) -> list[int | None]:
    return [e.tray_id for e in visitor.entries() if e.kind is Kind.WATERED and e.at_ms == NOW_MS]


def test_opening_a_link_does_nothing_and_its_button_does_it_once(visitor: Visitor, told: Notice) -> None:
    link = path(visitor, Act.DONE)
    for _ in range(3):  # what looks through mail opens every link, more than once
        assert "lettuce, peppers: watered" in visitor.words(link)
    assert watered(visitor) == []
    assert re.findall(r"<form method=\"post\" action=\"([^\"]+)\"", visitor.get(link))[0] == link
    assert "Done lettuce, peppers: watered" in do(visitor, link)
    assert len(watered(visitor)) == 2
    assert "has done its work already" in do(visitor, link, 404)
    assert "has done its work already" in visitor.words(link, status=404)
    assert len(watered(visitor)) == 2
    (first, second) = [e for e in visitor.entries() if e.at_ms == NOW_MS]
    assert first.note == second.note == "a link in a notice"


def test_a_hush_link_hushes_what_the_notice_is_about_until_tonight(visitor: Visitor, told: Notice) -> None:
    link = path(visitor, Act.HUSH)
    assert "lettuce, peppers, water now: hushed until tonight, 18:00" in visitor.words(link)
    do(visitor, link)
    with visitor.store.read() as tx:
        hushes = hush_store.holding(tx, NOW_MS)
    assert {(str(h.subject), h.rule, h.who) for h in hushes} == {
        (episode_id.split(":")[1], "dry", "a link in a notice") for episode_id, _ in told.changes
    }
    do(visitor, path(visitor, Act.DONE))  # the other link of the notice still works


def test_the_same_deed_by_the_link_of_another_channel_is_written_once(visitor: Visitor, told: Notice) -> None:
    with visitor.store.write() as tx:
        notice_store.put(tx, [replace(told, notice_id="over-mail", channel="mail")])
    do(visitor, path(visitor, Act.DONE))
    assert "is over" in do(visitor, path(visitor, Act.DONE, "over-mail"), 404)
    assert len(watered(visitor)) == 2


def test_a_hush_link_of_a_probes_notice_hushes_that_probe_alone(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        probe = probe_store.probes(tx)[0]
        subject = Subject(SubjectKind.PROBE, probe.probe_id)
        episode_store.keep_episode(tx, Episode("quiet:1", "quiet", subject, NOW_MS - 3_600_000))
        changes = (("quiet:1", ChangeKind.OPENED),)
        notice_store.put(tx, [replace(FRESH, changes=changes, created_ms=NOW_MS - 60_000)])
    assert f"{probe.name}, probe quiet: hushed until tonight" in do(visitor, path(visitor, Act.HUSH))
    with visitor.store.read() as tx:
        (hush,) = hush_store.holding(tx, NOW_MS)
    assert (hush.subject, hush.rule) == (subject, "quiet")
    assert probe.name in visitor.words("/")


def test_what_is_over_or_long_ago_is_not_written(visitor: Visitor, told: Notice) -> None:
    with visitor.store.write() as tx:
        for known in episode_store.episodes(tx, rule="dry", open_only=True):
            episode_store.keep_episode(tx, replace(known, closed_ms=NOW_MS))
    assert "is over" in do(visitor, path(visitor, Act.DONE), 404)
    with visitor.store.write() as tx:
        old = replace(told, notice_id="old", created_ms=NOW_MS - GOOD_FOR_MS - 1)
        notice_store.put(tx, [old])
    assert "too old" in do(visitor, path(visitor, Act.DONE, "old"), 404)
    assert watered(visitor) == []


def test_a_link_needs_no_session_and_opens_nothing_else(visitor: Visitor, told: Notice) -> None:
    set_password(visitor.home, "correct horse battery")
    assert "Password" in visitor.words("/")
    assert "lettuce, peppers: watered" in visitor.words(path(visitor, Act.DONE))
    do(visitor, path(visitor, Act.DONE))
    assert len(watered(visitor)) == 2
    assert "Password" in visitor.words("/")


@pytest.mark.parametrize("spoil", [lambda p: p[:-1], lambda p: p + "x", lambda p: "/once/WyJhIl0.abc"])
def test_a_link_that_was_changed_does_nothing(visitor: Visitor, told: Notice, spoil: object) -> None:
    assert "not one of ours" in do(visitor, spoil(path(visitor, Act.DONE)), 404)  # type: ignore[operator]
    assert watered(visitor) == []


def test_a_link_of_another_garden_is_none_of_ours(visitor: Visitor, told: Notice, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    link = Links(load(other, environ={}, overrides={"notices.address": ADDRESS})).link("aaa111", Act.DONE)
    assert "not one of ours" in do(visitor, link.removeprefix(ADDRESS), 404)


def test_guessing_is_slowed_down_and_a_right_link_forgets_it(visitor: Visitor, told: Notice) -> None:
    right = path(visitor, Act.DONE)
    for _ in range(FREE_TRIES - 1):
        visitor.get("/once/nothing", status=404)
    visitor.get(right)
    for _ in range(FREE_TRIES):
        visitor.get("/once/nothing", status=404)
    answer = visitor.client.get("/once/nothing")
    assert answer.status_code == 429
    assert int(answer.headers["retry-after"]) >= 1


def test_another_sites_page_cannot_press_the_button(visitor: Visitor, told: Notice) -> None:
    answer = visitor.client.post(path(visitor, Act.DONE), headers={"origin": "http://evil.example"})
    assert answer.status_code == 403
    assert watered(visitor) == []


def test_links_go_out_with_the_notice_and_are_kept_nowhere(visitor: Visitor, told: Notice) -> None:
    mail, console = MemoryChannel("mail"), MemoryChannel("console")
    end = replace(told, notice_id="end", channel="mail", changes=((told.changes[0][0], ChangeKind.CLOSED),))
    with visitor.store.write() as tx:
        notice_store.put(tx, [replace(told, notice_id="m", channel="mail"), end])
    chosen = settings(visitor)
    footer = Links(chosen).footer
    Deliver(
        visitor.store, chosen, DrivenClock(NOW_MS), {"mail": mail, "console": console}, footer=footer
    ).send_due()
    bodies = {m.notice_id: m.body for m in mail.got}
    assert f"Done: {ADDRESS}/once/" in bodies["m"]
    assert f"Hush until tonight: {ADDRESS}/once/" in bodies["m"]
    assert "/once/" not in bodies["end"]
    assert "/once/" not in console.got[0].body
    with visitor.store.read() as tx:
        assert all("/once/" not in n.body for n in notice_store.in_states(tx, NoticeState.SENT))


def test_without_an_address_notices_carry_no_links(visitor: Visitor, told: Notice) -> None:
    assert Links(load(visitor.home, environ={})).footer(told) == ""


def test_a_notice_of_several_rules_has_links_of_its_own_for_each(visitor: Visitor, told: Notice) -> None:
    quiet = ("quiet:probe-1:5", ChangeKind.OPENED)
    footer = Links(settings(visitor)).footer(replace(told, changes=(*told.changes, quiet)))
    assert [line.partition(": http")[0] for line in footer.splitlines()] == [
        "Done, water now",
        "Hush until tonight, water now",
        "Hush until tonight, probe quiet",
    ], "a quiet probe has no deed in the journal"


@pytest.fixture
def joint(visitor: Visitor, told: Notice) -> Notice:
    """One notice: two dry trays, of which one is too cold as well, and the seed of the other late."""
    lettuce, peppers = (int(e.split(":")[1].removeprefix("tray-")) for e, _ in told.changes)
    more = [
        Episode(f"cold:tray-{lettuce}:5", "cold", a_tray(lettuce), NOW_MS - 3_600_000),
        Episode(f"late:tray-{peppers}:5", "late", a_tray(peppers), NOW_MS - 3_600_000),
    ]
    changes = (*told.changes, *((e.episode_id, ChangeKind.OPENED) for e in more))
    notice = replace(told, notice_id="joint", changes=changes)
    with visitor.store.write() as tx:
        for episode in more:
            episode_store.keep_episode(tx, episode)
        notice_store.put(tx, [notice])
    return notice


def of_rule(visitor: Visitor, act: Act, rule: str) -> str:
    return Links(settings(visitor)).link("joint", act, rule).removeprefix(ADDRESS)


def press(visitor: Visitor, link: str, status: int = 200, **fields: str) -> str:
    answer = visitor.client.post(link, data=fields)
    assert answer.status_code == status, answer.text
    return words_of(answer.text)


def written(visitor: Visitor) -> list[tuple[Kind, dict[str, object]]]:
    return [(e.kind, dict(e.data)) for e in visitor.entries() if e.note == "a link in a notice"]


def test_each_need_of_a_joint_notice_is_answered_and_hushed_by_itself(
    visitor: Visitor, joint: Notice
) -> None:
    press(visitor, of_rule(visitor, Act.DONE, "dry"))
    assert len(watered(visitor)) == 2
    press(visitor, of_rule(visitor, Act.HUSH, "cold"))
    with visitor.store.read() as tx:
        assert [h.rule for h in hush_store.holding(tx, NOW_MS)] == ["cold"]
    assert "has done its work already" in press(visitor, of_rule(visitor, Act.DONE, "dry"), 404)
    assert "is over" in press(visitor, of_rule(visitor, Act.DONE, "frost"), 404), "it told of no frost"


def test_a_tray_that_was_moved_is_moved_to_the_place_that_is_tapped(visitor: Visitor, joint: Notice) -> None:
    link = of_rule(visitor, Act.DONE, "cold")
    page = visitor.get(link)
    buttons = re.findall(r'name="way" value="([^"]+)">\s*<button[^>]*>([^<]+)<', page)
    assert "Moved to Cold frame" in dict(buttons).values()
    assert "Choose what was done" in press(visitor, link, 404)
    assert written(visitor) == []
    frame = next(value for value, words in buttons if words == "Moved to Cold frame")
    assert "lettuce: moved to Cold frame" in press(visitor, link, way=frame)
    (moved,) = [e for e in visitor.entries() if e.note == "a link in a notice"]
    assert (moved.kind, f"to {moved.place_id}") == (Kind.MOVED, frame)
    assert visitor.words("/trays/" + str(moved.tray_id)).count("Cold frame")


@pytest.mark.parametrize(
    ("fields", "data"),
    [
        ({"way": "up"}, {}),
        ({"way": "up", "count": "7"}, {"count": 7}),
        ({"way": "none", "count": "7"}, {"count": 0}),
    ],
)
def test_late_seed_is_seen_counted_or_looked_for_in_vain(
    visitor: Visitor, joint: Notice, fields: dict[str, str], data: dict[str, object]
) -> None:
    with visitor.store.read() as tx:
        sown = {e.tray_id for e in visitor.entries() if e.kind is Kind.SOWED}
        (late,) = episode_store.episodes(tx, rule="late")
    assert late.subject.number in sown
    link = of_rule(visitor, Act.DONE, "late")
    assert "whole number" in press(visitor, link, 404, way="up", count="many")
    press(visitor, link, 200, **fields)
    assert written(visitor) == [(Kind.EMERGED, data)]


def test_a_night_of_frost_is_answered_by_carrying_all_that_stands_there_under_cover(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        bench = next(p for p in garden_store.places(tx) if not p.covered)
        subject = Subject(SubjectKind.PLACE, bench.place_id)
        frost, shut = (
            Episode(f"{rule}:{subject}:5", rule, subject, NOW_MS - 3_600_000) for rule in ("frost", "shut")
        )
        for episode in (frost, shut):
            episode_store.keep_episode(tx, episode)
        changes = tuple((e.episode_id, ChangeKind.OPENED) for e in (frost, shut))
        notice_store.put(tx, [replace(FRESH, notice_id="joint", changes=changes, created_ms=NOW_MS - 60_000)])
    with visitor.face.asking() as on:
        there = [t for t in on.trays if on.facts.place_of_tray(t, NOW_MS) == bench.place_id]
    assert there
    link = of_rule(visitor, Act.DONE, "frost")
    ways = re.findall(r'name="way" value="([^"]+)"', visitor.get(link))
    press(visitor, link, way=ways[0])
    moved = [e for e in visitor.entries() if e.note == "a link in a notice"]
    assert {e.tray_id for e in moved} == set(there)
    assert {f"to {e.place_id}" for e in moved} == {ways[0]}
    press(visitor, of_rule(visitor, Act.DONE, "shut"))
    assert [e.place_id for e in visitor.entries() if e.kind is Kind.CLOSED] == [bench.place_id]


@pytest.mark.parametrize("every", [False, True])
def test_of_a_place_only_what_the_notice_names_is_moved_unless_all_is_tapped(
    visitor: Visitor, every: bool
) -> None:
    with visitor.face.asking() as on:
        bench_id = next(p.place_id for p in on.places.values() if not p.covered)
        there = [t for t in on.trays if on.facts.place_of_tray(t, NOW_MS) == bench_id]
        assert len(there) > 1
        first = on.trays[there[0]].name
    subject = Subject(SubjectKind.PLACE, bench_id)
    frost = Episode("frost:place:5", "frost", subject, NOW_MS - 3_600_000, facts={"trays": first})
    with visitor.store.write() as tx:
        episode_store.keep_episode(tx, frost)
        changes = ((frost.episode_id, ChangeKind.OPENED),)
        notice_store.put(tx, [replace(FRESH, notice_id="joint", changes=changes, created_ms=NOW_MS - 60_000)])
    link = of_rule(visitor, Act.DONE, "frost")
    ways = re.findall(r'name="way" value="([^"]+)"', visitor.get(link))
    way = next(each for each in ways if each.startswith("all to ") is every)
    press(visitor, link, way=way)
    moved = {e.tray_id for e in visitor.entries() if e.note == "a link in a notice"}
    assert moved == (set(there) if every else {there[0]})


def test_a_tray_out_of_level_is_put_level_by_a_tap(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tray_id = garden_store.tray_named(tx, "lettuce").tray_id
        need = Episode("tilted:tray:5", "tilted", a_tray(tray_id), NOW_MS - 3_600_000)
        episode_store.keep_episode(tx, need)
        changes = ((need.episode_id, ChangeKind.OPENED),)
        notice_store.put(tx, [replace(FRESH, notice_id="joint", changes=changes, created_ms=NOW_MS - 60_000)])
    press(visitor, of_rule(visitor, Act.DONE, "tilted"))
    assert [(e.kind, e.tray_id) for e in visitor.entries()][-1] == (Kind.LEVELLED, tray_id)


def test_what_a_tap_may_write_down_is_what_counts_as_done() -> None:
    """Else the grower would be reminded of what the link has just answered."""
    assert set(BY_A_TAP) <= set(REMEDIES)
