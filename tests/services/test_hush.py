"""A hush on a driven clock: nothing is sent, nothing is lost, and what still holds afterwards is told."""

from zoneinfo import ZoneInfo

import pytest

from tests.services.watched_garden import (
    COLD_C,
    DAY_MS,
    DRY,
    HOUR_MS,
    START_MS,
    WET,
    MemoryChannel,
    WatchedGarden,
    settings_with,
)
from traywarden.domain.hushes import Hush
from traywarden.domain.journal import Kind
from traywarden.domain.notices import Hold, NoticeState
from traywarden.errors import ChannelError, UnknownNameError, UsageError
from traywarden.links.channels import Message
from traywarden.services.deliver import Deliver
from traywarden.services.hushing import Wish, end_hush, put_hush
from traywarden.services.until import parse_until
from traywarden.services.watch import Watch
from traywarden.store import notices as notice_store
from traywarden.store.crops import load_crops
from traywarden.store.store import Store

UTC = ZoneInfo("UTC")


class HushedGarden(WatchedGarden):
    """A watched garden whose channel says what really went out."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.out = MemoryChannel()
        self.deliver = Deliver(self.store, self.settings, self.clock, {"console": self.out})

    def hush(self, until: str = "tonight", **wish: object) -> Hush:
        given = {"tray": "A", "who": "Ana", "why": "repotting"} | wish
        with self.store.write() as tx:
            return put_hush(tx, Wish(until, **given), self.settings, self.clock.ms)  # type: ignore[arg-type]

    def unhush(self, hush: Hush) -> None:
        with self.store.write() as tx:
            end_hush(tx, hush.hush_id, "Ana", self.clock.ms)

    def until(self, at_ms: int, **values: object) -> list[str]:
        """Readings, ticks and deliveries every ten minutes up to then; the titles of what went out."""
        before = len(self.out.got)
        for at in range(self.clock.ms, at_ms, 600_000):
            self.see(at, **values)  # type: ignore[arg-type]
            self.watch.tick()
            self.deliver.send_due()
        return [m.title for m in self.out.got[before:]]


@pytest.fixture
def garden(sqlite_store: Store) -> HushedGarden:
    return HushedGarden(sqlite_store)


def test_a_hushed_episode_opens_all_the_same_and_is_told_when_the_hush_ends(garden: HushedGarden) -> None:
    garden.hush("tonight")  # until 18:00; it is 06:00
    assert garden.until(START_MS + 12 * HOUR_MS, moisture=DRY) == []
    assert [e.closed_ms for e in garden.episodes()] == [None]
    (held,) = garden.notices(NoticeState.HELD)
    assert (held.waits_for, held.trouble) == (Hold.HUSH, "hushed until 18:00 by Ana: repotting")
    assert garden.until(START_MS + 13 * HOUR_MS, moisture=DRY) == ["Water now: A (open bench)"]
    assert garden.out.got[0].notice_id == held.notice_id
    assert "since 06:00" in garden.out.got[0].body


def test_what_is_over_before_its_hush_ends_is_spared_and_so_is_its_end(garden: HushedGarden) -> None:
    garden.hush("tonight")
    assert garden.until(START_MS + 2 * HOUR_MS, moisture=DRY) == []
    assert garden.until(START_MS + 20 * HOUR_MS, moisture=WET) == []
    (notice,) = garden.notices()
    assert notice.state is NoticeState.SPARED
    assert notice.trouble == "not sent: it was over before its hush ended"
    assert [e.closed_ms for e in garden.episodes()] == [START_MS + 2 * HOUR_MS]


def test_what_was_told_before_the_hush_is_reminded_of_when_it_ends_and_still_holds(
    garden: HushedGarden,
) -> None:
    assert garden.until(START_MS + HOUR_MS, moisture=DRY) == ["Water now: A (open bench)"]
    garden.hush("tomorrow morning")
    assert garden.until(START_MS + 25 * HOUR_MS, moisture=DRY) == []
    assert garden.until(START_MS + 26 * HOUR_MS, moisture=DRY) == ["Still: water now, A (open bench)"]


def test_an_end_that_comes_while_hushed_is_told_afterwards_to_those_told_of_the_start(
    garden: HushedGarden,
) -> None:
    garden.until(START_MS + HOUR_MS, moisture=DRY)
    garden.hush("tonight")
    assert garden.until(START_MS + 12 * HOUR_MS, moisture=WET) == []
    assert garden.until(START_MS + 13 * HOUR_MS, moisture=WET) == ["Over: water now, A (open bench)"]


def test_an_end_is_not_lost_to_a_second_beginning_that_is_over_before_it_could_be_told(
    garden: HushedGarden,
) -> None:
    assert garden.until(START_MS + HOUR_MS, moisture=DRY) == ["Water now: A (open bench)"]
    garden.hush("tonight")
    garden.until(START_MS + 3 * HOUR_MS, moisture=WET)
    garden.until(START_MS + 5 * HOUR_MS, moisture=DRY)
    assert [n.state for n in garden.notices()].count(NoticeState.HELD) == 2
    assert garden.until(START_MS + 13 * HOUR_MS, moisture=WET) == ["Over: water now, A (open bench)"]
    (spared,) = garden.notices(NoticeState.SPARED)
    assert spared.trouble == "not sent: it was over before its hush ended"


def test_an_end_is_spared_once_it_is_told_that_it_began_again(garden: HushedGarden) -> None:
    garden.until(START_MS + HOUR_MS, moisture=DRY)
    garden.hush("tonight")
    garden.until(START_MS + 3 * HOUR_MS, moisture=WET)
    assert garden.until(START_MS + 13 * HOUR_MS, moisture=DRY) == ["Water now: A (open bench)"]
    (spared,) = garden.notices(NoticeState.SPARED)
    assert spared.trouble == "not sent: it had begun again by then"


def test_a_hush_taken_back_tells_at_once_what_it_kept_quiet(garden: HushedGarden) -> None:
    hush = garden.hush("tonight")
    assert garden.until(START_MS + 2 * HOUR_MS, moisture=DRY) == []
    garden.unhush(hush)
    assert garden.until(START_MS + 2 * HOUR_MS + 600_000, moisture=DRY) == ["Water now: A (open bench)"]


@pytest.mark.parametrize(
    ("wish", "titles"),
    [
        ({"rule": "dry"}, ["Too cold: A (open bench)"]),
        ({"rule": "cold"}, ["Water now: A (open bench)"]),
        ({"tray": "", "place": "open bench"}, []),
        ({"tray": "", "everything": True}, []),
        ({"tray": "", "everything": True, "rule": "dry"}, ["Too cold: A (open bench)"]),
    ],
)
def test_a_hush_mutes_what_it_names_and_nothing_else(
    garden: HushedGarden, wish: dict[str, object], titles: list[str]
) -> None:
    garden.hush("tonight", **wish)
    assert garden.until(START_MS + 5 * HOUR_MS, moisture=DRY, soil_c=COLD_C) == titles


def test_a_hush_of_one_tray_says_nothing_about_its_neighbours(sqlite_store: Store) -> None:
    garden = HushedGarden(sqlite_store, trays=2)
    garden.hush("tonight")
    for at in range(START_MS, START_MS + 2 * HOUR_MS, 600_000):
        garden.clock.ms = at
        for tray in "AB":
            garden.measure(at, DRY, tray=tray)
        garden.watch.judge(garden.tray_ids.values())
        garden.watch.tick()
        garden.deliver.send_due()
    assert [m.title for m in garden.out.got] == ["Water now: B (open bench)"]


def test_a_place_is_where_the_tray_stands_now(garden: HushedGarden) -> None:
    """Moved out of the hushed place, the tray is heard of again."""
    garden.hush("tonight", tray="", place="open bench")
    assert garden.until(START_MS + 2 * HOUR_MS, moisture=DRY) == []
    with garden.store.write() as tx:
        from traywarden.domain.garden import PlaceKind
        from traywarden.store import garden as garden_store

        frame = garden_store.add_place(tx, "frame", PlaceKind.COLD_FRAME)
    garden.write(Kind.MOVED, garden.clock.ms, place_id=frame.place_id)
    assert garden.until(START_MS + 3 * HOUR_MS, moisture=DRY) == ["Water now: A (frame)"]


def test_what_waits_to_be_sent_when_the_hush_begins_is_held_back(garden: HushedGarden) -> None:
    garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    (waiting,) = garden.notices(NoticeState.WAITING)
    garden.hush("tonight")
    (held,) = garden.notices()
    assert (held.notice_id, held.state, held.waits_for) == (waiting.notice_id, NoticeState.HELD, Hold.HUSH)
    assert garden.until(START_MS + 12 * HOUR_MS, moisture=DRY) == []
    garden.until(START_MS + 13 * HOUR_MS, moisture=DRY)
    assert [m.notice_id for m in garden.out.got] == [waiting.notice_id]


def test_of_a_joint_notice_that_waits_only_what_is_hushed_is_held_back(sqlite_store: Store) -> None:
    garden = HushedGarden(sqlite_store, settings_with(cold__open_delay_s=0.0, dry__open_delay_s=0.0))
    garden.out.fail = ChannelError("no line")
    garden.until(START_MS + HOUR_MS, moisture=DRY, soil_c=COLD_C)
    (waiting,) = garden.notices(NoticeState.WAITING)
    assert len(waiting.changes) == 2
    garden.hush("tonight", rule="dry")
    garden.out.fail = None
    garden.until(START_MS + 12 * HOUR_MS, moisture=DRY, soil_c=COLD_C)
    (told,) = garden.out.got
    assert (told.notice_id, told.title) == (waiting.notice_id, "Too cold: A (open bench)")
    garden.until(START_MS + 13 * HOUR_MS, moisture=DRY, soil_c=COLD_C)
    assert [m.title for m in garden.out.got[1:]] == ["Water now: A (open bench)"]


def test_what_a_channel_is_being_given_is_not_told_in_parts_as_well(sqlite_store: Store) -> None:
    """The hush comes while the channel has the joint notice and has not said so yet."""

    class Slow(MemoryChannel):
        def send(self, message: Message) -> None:
            super().send(message)
            if len(self.got) == 1:
                joint.hush("tonight", rule="dry")
                joint.clock.ms += 60_000
                joint.watch.tick()

    chosen = settings_with(cold__open_delay_s=0.0, dry__open_delay_s=0.0)
    joint = HushedGarden(sqlite_store, chosen)
    joint.out = Slow()
    joint.deliver = Deliver(joint.store, joint.settings, joint.clock, {"console": joint.out})
    joint.watch = Watch(
        sqlite_store,
        chosen,
        joint.clock,
        load_crops(),
        paced=(),
        monotonic_s=joint.clock.monotonic_s,
        system_ms=joint.clock.now_ms,
        sending=joint.deliver.is_sending,
    )
    joint.until(START_MS + 3 * HOUR_MS, moisture=DRY, soil_c=COLD_C)
    (sent,) = joint.notices()
    assert (sent.state, len(sent.changes), len(joint.out.got)) == (NoticeState.SENT, 2, 1)


def test_a_restart_and_a_second_hush_keep_it_quiet(garden: HushedGarden) -> None:
    garden.hush("tonight", why="")
    garden.until(START_MS + 2 * HOUR_MS, moisture=DRY)
    garden.watch = garden.new_watch()
    garden.watch.judge_all()
    garden.hush("tomorrow morning", why="away", who="Bea")
    assert garden.until(START_MS + 20 * HOUR_MS, moisture=DRY) == []
    (held,) = garden.notices(NoticeState.HELD)
    assert held.trouble == "hushed until 07:00 by Bea: away"  # it is two in the night


def test_a_backlog_that_comes_in_while_hushed_is_told_after_it(garden: HushedGarden) -> None:
    garden.clock.ms = START_MS + DAY_MS
    garden.watch.judge_all()
    garden.hush("3 h")
    for hour in range(4):
        garden.measure(START_MS + hour * HOUR_MS, DRY)
        garden.measure(START_MS + hour * HOUR_MS + 1800_000, WET if hour == 3 else DRY)
    garden.watch.judge(garden.tray_ids.values())
    for _ in range(4):
        garden.clock.ms += HOUR_MS - 120_000
        garden.watch.tick()
        garden.deliver.send_due()
        if garden.clock.ms < START_MS + DAY_MS + 3 * HOUR_MS:
            assert garden.out.got == []
    assert [m.title for m in garden.out.got] == ["While you were away: 1 need came and went"]


def test_a_garden_where_nothing_is_hushed_reads_the_hushes_and_sends_as_before(garden: HushedGarden) -> None:
    hush = garden.hush("1 h")
    garden.unhush(hush)
    assert garden.until(START_MS + HOUR_MS, moisture=DRY) == ["Water now: A (open bench)"]


@pytest.mark.parametrize(
    ("words", "day", "clock"),
    [
        ("tonight", 1, "18:00"),
        ("until tonight", 1, "18:00"),
        ("tomorrow morning", 2, "07:00"),
        ("tomorrow", 2, "07:00"),
        ("tomorrow evening", 2, "18:00"),
        ("monday", 2, "07:00"),
        ("Sunday noon", 8, "12:00"),  # today is one: the next is meant
        ("for 3 h", 1, "09:00"),
        ("90 min", 1, "07:30"),
        ("an hour", 1, "07:00"),
        ("in a week", 8, "06:00"),
        ("18:00", 1, "18:00"),
        ("5:00", 2, "05:00"),  # past today
        ("2026-03-05 08:00", 5, "08:00"),
    ],
)
def test_until_is_read_as_a_grower_says_it(words: str, day: int, clock: str) -> None:
    from datetime import datetime

    until = datetime.fromtimestamp(parse_until(words, now_ms=START_MS, zone=UTC) / 1000, UTC)
    assert (until.day, f"{until:%H:%M}") == (day, clock)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("", "Say until when"),
        ("soon", "cannot be read"),
        ("yesterday 8:00", "is past"),
        ("2026-03-01 05:00", "is past"),
        ("6 weeks", "more than 31 days"),
        ("2026-13-01", "no date"),
    ],
)
def test_until_what_cannot_be_is_refused_in_a_sentence(words: str, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        parse_until(words, now_ms=START_MS, zone=UTC)


def test_late_in_the_evening_tonight_is_past() -> None:
    assert parse_until("tonight", now_ms=START_MS + 13 * HOUR_MS, zone=UTC) == START_MS + 16 * HOUR_MS
    with pytest.raises(UsageError, match="begun already"):
        parse_until("tonight", now_ms=START_MS + 16 * HOUR_MS, zone=UTC)


def test_tomorrow_morning_keeps_its_clock_time_when_clocks_change() -> None:
    lisbon = ZoneInfo("Europe/Lisbon")
    before = 1_774_690_000_000  # 2026-03-28, the evening before summer time
    assert parse_until("tomorrow morning", now_ms=before, zone=lisbon) == 1_774_764_000_000  # 06:00Z


@pytest.mark.parametrize(
    ("wish", "says"),
    [
        ({"tray": "nowhere"}, "tray"),
        ({"tray": "", "place": "nowhere"}, "place"),
        ({"rule": "drought"}, "rule"),
    ],
)
def test_a_hush_of_what_is_not_there_is_refused(
    garden: HushedGarden, wish: dict[str, str], says: str
) -> None:
    with pytest.raises(UnknownNameError, match=says):
        garden.hush("tonight", **wish)


def test_a_hush_names_one_thing(garden: HushedGarden) -> None:
    for wish in ({"tray": ""}, {"place": "open bench"}, {"everything": True}):
        with pytest.raises(UsageError, match="Say what to hush"):
            garden.hush("tonight", **wish)


def test_a_hush_that_is_over_cannot_be_taken_back(garden: HushedGarden) -> None:
    hush = garden.hush("1 h")
    garden.clock.ms += HOUR_MS
    with pytest.raises(UsageError, match="over already"):
        garden.unhush(hush)


def test_a_notice_of_several_trays_held_back_is_told_for_those_that_still_need_it(
    sqlite_store: Store,
) -> None:
    garden = HushedGarden(sqlite_store, settings_with(), trays=2)
    for at in range(START_MS, START_MS + HOUR_MS, 600_000):
        garden.clock.ms = at
        for tray in "AB":
            garden.measure(at, DRY, tray=tray)
    garden.watch.judge(garden.tray_ids.values())
    (both,) = garden.notices(NoticeState.WAITING)
    assert both.title == "Water now: 2 trays in open bench"
    garden.hush("2 h", tray="", everything=True)
    garden.until(START_MS + 2 * HOUR_MS, moisture=WET)  # A is watered
    for at in range(garden.clock.ms, START_MS + 4 * HOUR_MS, 600_000):
        garden.see(at, moisture=DRY, tray="B")
        garden.watch.tick()
        garden.deliver.send_due()
    assert [m.title for m in garden.out.got] == ["Water now: B (open bench)"]
    with garden.store.read() as tx:
        assert notice_store.counts(tx)[NoticeState.SENT] == 1
