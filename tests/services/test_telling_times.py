"""Quiet hours, digests, walks and reminders on a driven clock, as a channel really gets them."""

from dataclasses import replace
from typing import Any

import pytest

from tests.services.test_hush import HushedGarden
from tests.services.timelines import CALM, HALF_HOUR_MS, SILENT, Line
from tests.services.watched_garden import (
    COLD_C,
    DAY_MS,
    DRY,
    HOUR_MS,
    MINUTE_MS,
    START_MS,
    WARM_C,
    WET,
    MemoryChannel,
    channel,
    settings_with,
)
from traywarden.domain.garden import PlaceKind
from traywarden.domain.journal import Kind
from traywarden.domain.notices import Hold, NoticeState
from traywarden.domain.subjects import Subject
from traywarden.errors import ChannelError
from traywarden.services.deliver import Deliver
from traywarden.services.shadows import Shadows
from traywarden.store import garden as garden_store
from traywarden.store import notices as notice_store
from traywarden.store.store import Store

NIGHT: dict[str, Any] = {"notices__quiet_from": "22:00", "notices__quiet_until": "06:30"}
AT_22 = START_MS + 16 * HOUR_MS  # it starts at 06:00


class ToldGarden(HushedGarden):
    """Several trays measured together; what goes out is listed as (hour of the day, title)."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.outs = {name: MemoryChannel(name) for name in self.settings.ways_out}
        self.out = self.outs["console"]
        self.deliver = Deliver(self.store, self.settings, self.clock, self.outs)
        self.told: list[tuple[str, str]] = []

    def to(self, at_ms: int, step_ms: int = 10 * MINUTE_MS, **moisture: float) -> list[tuple[str, str]]:
        """Every tray is measured (`A=DRY`; wet by default) up to then; what the console got, and when."""
        soil_c = moisture.pop("soil_c", WARM_C)
        before = len(self.told)
        for at in range(self.clock.ms, at_ms, step_ms):
            self.clock.ms = at
            for tray in self.tray_ids:
                self.measure(at, moisture.get(tray, WET), soil_c, tray)
            self.watch.judge(self.tray_ids.values(), dict.fromkeys(self.tray_ids.values(), at))
            self.watch.tick()
            seen = len(self.out.got)
            self.deliver.send_due()
            hour = f"{(at // HOUR_MS) % 24:02d}:{(at // MINUTE_MS) % 60:02d}"
            self.told += [(hour, m.title) for m in self.out.got[seen:]]
        self.clock.ms = at_ms
        return self.told[before:]


def garden(store: Store, trays: int = 1, channels: Any = (), **values: Any) -> ToldGarden:
    return ToldGarden(store, settings_with(channels=channels, **values), trays=trays)


def test_in_quiet_hours_only_what_is_urgent_is_sent(sqlite_store: Store) -> None:
    g = garden(sqlite_store, cold__open_delay_s=600.0, **NIGHT)
    assert g.to(AT_22) == []
    assert g.to(AT_22 + 3 * HOUR_MS, A=DRY, soil_c=COLD_C) == [("22:30", "Water now: A (open bench)")]
    (held,) = g.notices(NoticeState.HELD)
    assert (held.waits_for, held.trouble) == (Hold.QUIET, "waits until the quiet hours end at 06:30")


def test_when_they_end_what_still_holds_comes_as_one_and_what_is_over_does_not(sqlite_store: Store) -> None:
    g = garden(sqlite_store, 2, cold__open_delay_s=600.0, cold__close_delay_s=600.0, **NIGHT)
    g.to(AT_22 - HOUR_MS, A=DRY)  # told in daylight; its end comes at night
    g.to(AT_22 + 10 * MINUTE_MS, A=DRY)
    assert g.to(AT_22 + 3 * HOUR_MS, soil_c=COLD_C) == []
    assert g.to(AT_22 + 8 * HOUR_MS + 30 * MINUTE_MS, soil_c=COLD_C) == []
    assert g.to(AT_22 + 9 * HOUR_MS, soil_c=COLD_C) == [("06:30", "For you in open bench: 2 × too cold")]
    body = g.out.got[-1].body
    assert body.index("Too cold: 2 trays in open bench") < body.index("Over: water now, A (open bench)")
    assert "• A: " in body
    assert "• B: " in body


def test_what_began_and_ended_in_the_night_is_spared(sqlite_store: Store) -> None:
    g = garden(sqlite_store, cold__open_delay_s=600.0, cold__close_delay_s=600.0, **NIGHT)
    g.to(AT_22)
    g.to(AT_22 + 3 * HOUR_MS, soil_c=COLD_C)
    assert g.to(AT_22 + 12 * HOUR_MS) == []
    (notice,) = g.notices()
    assert (notice.state, notice.trouble) == (
        NoticeState.SPARED,
        "not sent: it was over before the quiet hours were",
    )


def test_a_restart_in_quiet_hours_changes_nothing(sqlite_store: Store) -> None:
    g = garden(sqlite_store, cold__open_delay_s=600.0, **NIGHT)
    g.to(AT_22)
    g.to(AT_22 + HOUR_MS, soil_c=COLD_C)
    g.watch = g.new_watch()
    g.watch.judge_all()
    assert g.to(AT_22 + 9 * HOUR_MS, soil_c=COLD_C) == [("06:30", "Too cold: A (open bench)")]


def test_five_dry_trays_on_one_bench_are_one_notice_though_they_dry_minutes_apart(
    sqlite_store: Store,
) -> None:
    g = garden(sqlite_store, 5, notices__gather_s=900.0, dry__open_delay_s=0.0)
    g.to(START_MS + HOUR_MS)
    dry: dict[str, float] = {}
    for tray in "ABCDE":
        dry[tray] = DRY
        g.to(g.clock.ms + 3 * MINUTE_MS, MINUTE_MS, **dry)
    g.to(g.clock.ms + 30 * MINUTE_MS, MINUTE_MS, **dry)
    assert g.told == [("07:15", "Water now: 5 trays in open bench")]


def test_two_places_are_two_walks_and_all_that_is_to_be_done_in_one_is_one_notice(
    sqlite_store: Store,
) -> None:
    g = garden(sqlite_store, 3, notices__gather_s=900.0, cold__open_delay_s=2400.0, dry__open_delay_s=1800.0)
    with g.store.write() as tx:
        frame = garden_store.add_place(tx, "frame", PlaceKind.COLD_FRAME)
    g.write(Kind.MOVED, START_MS, "C", place_id=frame.place_id)
    g.to(START_MS + 2 * HOUR_MS, A=DRY, C=DRY, soil_c=COLD_C)
    assert sorted(g.told) == [
        ("06:50", "For you at C (frame): water now, too cold"),
        ("06:50", "For you in open bench: water now, 2 × too cold"),
    ]
    bench = next(m for m in g.out.got if "open bench" in m.title)
    parts = bench.body.split("\n\n")
    assert parts[0].startswith("Water now: A (open bench)\n"), "the most urgent first"
    assert parts[1].startswith("Too cold: 2 trays in open bench\n")
    with g.store.read() as tx:
        kept = notice_store.notice_named(tx, bench.notice_id)
    assert [(named.split(":")[0], kind.value) for named, kind in kept.changes] == [
        ("dry", "opened"),
        ("cold", "opened"),
        ("cold", "opened"),
    ], "each episode keeps its own"


def test_the_end_of_one_need_of_a_joint_notice_is_told_by_itself(sqlite_store: Store) -> None:
    g = garden(sqlite_store, 1, cold__open_delay_s=1800.0, cold__close_delay_s=600.0)
    g.to(START_MS + HOUR_MS, A=DRY, soil_c=COLD_C)
    assert g.told == [("06:30", "For you at A (open bench): water now, too cold")]
    assert g.to(START_MS + 2 * HOUR_MS, A=DRY) == [("07:10", "Over: too cold, A (open bench)")]
    assert g.to(START_MS + 7 * HOUR_MS, A=DRY) == [("12:30", "Still: water now, A (open bench)")]


def test_what_is_over_while_it_waits_for_others_is_spared(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__gather_s=1800.0, dry__open_delay_s=0.0)
    g.to(START_MS + 20 * MINUTE_MS, A=DRY)
    assert g.to(START_MS + 3 * HOUR_MS) == []
    assert [n.state for n in g.notices()] == [NoticeState.SPARED]


def test_a_digest_goes_at_its_times_and_what_is_urgent_at_once(sqlite_store: Store) -> None:
    mail = channel("mail", digest="18:00")
    g = garden(sqlite_store, 2, [mail], cold__open_delay_s=600.0)
    g.to(START_MS + 3 * HOUR_MS, soil_c=COLD_C)
    assert g.told == [("06:10", "Too cold: 2 trays in open bench")]
    assert g.outs["mail"].got == []
    g.to(START_MS + 4 * HOUR_MS, A=DRY, soil_c=COLD_C)
    assert [m.title for m in g.outs["mail"].got] == ["Water now: A (open bench)"]
    g.to(START_MS + 11 * HOUR_MS, A=DRY, soil_c=COLD_C)
    assert [m.title for m in g.outs["mail"].got][1:] == ["Still: water now, A (open bench)"]
    g.to(START_MS + 13 * HOUR_MS, A=DRY, soil_c=COLD_C)
    assert [m.title for m in g.outs["mail"].got][2:] == ["Too cold: 2 trays in open bench"]


def test_reminders_come_with_growing_gaps_while_nothing_is_done(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__remind_after_s=4 * 3600.0, notices__longest_remind_s=12 * 3600.0)
    g.to(START_MS + 50 * HOUR_MS, HALF_HOUR_MS, A=DRY)
    assert [hour for hour, _ in g.told] == ["06:30", "10:30", "18:30", "06:30", "18:30", "06:30"]
    assert {title for _, title in g.told[1:]} == {"Still: water now, A (open bench)"}


def test_a_deed_that_did_not_help_is_told_once_it_should_have_and_another_puts_nothing_off(
    sqlite_store: Store,
) -> None:
    g = garden(sqlite_store, notices__remind_after_s=4 * 3600.0, notices__longest_remind_s=24 * 3600.0)
    g.to(START_MS + HOUR_MS, HALF_HOUR_MS, A=DRY)
    g.write(Kind.NOTED, g.clock.ms, note="looks sad")
    assert g.to(START_MS + 5 * HOUR_MS, HALF_HOUR_MS, A=DRY) == [
        ("10:30", "Still: water now, A (open bench)")
    ]
    g.write(Kind.WATERED, g.clock.ms)
    assert g.to(START_MS + 7 * HOUR_MS, HALF_HOUR_MS, A=DRY) == []
    assert g.to(START_MS + 22 * HOUR_MS, HALF_HOUR_MS, A=DRY) == [
        ("13:00", "Still: water now, A (open bench)")
    ]
    assert g.out.got[-1].body.startswith("You watered it at 11:00, and it has not helped yet. Water A")
    assert g.to(START_MS + 24 * HOUR_MS, HALF_HOUR_MS, A=DRY) == [
        ("05:00", "Still: water now, A (open bench)")
    ], "as ever"


def test_a_watering_of_the_whole_place_answers_for_its_trays(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__remind_after_s=4 * 3600.0)
    g.to(START_MS + HOUR_MS, A=DRY)
    from traywarden.store import journal as journal_store

    with g.store.write() as tx:
        journal_store.write(tx, Kind.WATERED, g.clock.ms, g.clock.ms, place_id=g.place.place_id)
    assert g.to(START_MS + 3 * HOUR_MS, A=DRY) == []
    assert g.to(START_MS + 4 * HOUR_MS, A=DRY) == [("09:00", "Still: water now, A (open bench)")]


def test_the_same_deed_again_and_again_puts_no_reminder_off(sqlite_store: Store) -> None:
    g = garden(sqlite_store)
    g.to(START_MS + HOUR_MS, HALF_HOUR_MS, A=DRY)
    for hour in range(2, 6):  # watered at 07:00, 08:00 and so on
        g.write(Kind.WATERED, g.clock.ms)
        g.to(START_MS + hour * HOUR_MS, HALF_HOUR_MS, A=DRY)
    assert g.told == [("06:30", "Water now: A (open bench)"), ("09:00", "Still: water now, A (open bench)")]


def test_what_cannot_be_judged_now_is_not_reminded_of(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__remind_after_s=4 * 3600.0)
    g.to(START_MS + HOUR_MS, A=DRY)
    for _ in range(48):
        g.clock.ms += 30 * MINUTE_MS
        g.watch.tick()
        g.deliver.send_due()
    assert len(g.out.got) == 1


def test_no_reminder_follows_a_notice_that_has_not_been_taken_yet(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__remind_after_s=4 * 3600.0)
    g.out.fail = ChannelError("no line")
    g.to(START_MS + 20 * HOUR_MS, A=DRY)
    assert len(g.notices()) == 1
    g.out.fail = None
    assert g.to(START_MS + 24 * HOUR_MS, A=DRY)[0][1] == "Water now: A (open bench)"
    assert len(g.out.got) == 1


def test_reminders_can_be_switched_off(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__remind_after_s=0.0)
    g.to(START_MS + 60 * HOUR_MS, HALF_HOUR_MS, A=DRY)
    assert len(g.told) == 1


def test_reminders_due_soon_after_each_other_in_one_place_go_together(sqlite_store: Store) -> None:
    g = garden(sqlite_store, 2, notices__remind_after_s=4 * 3600.0)
    g.to(START_MS + 40 * MINUTE_MS, A=DRY)
    g.to(START_MS + 6 * HOUR_MS, A=DRY, B=DRY)
    assert g.told == [
        ("06:30", "Water now: A (open bench)"),
        ("07:10", "Water now: B (open bench)"),
        ("10:30", "Still: water now, 2 trays in open bench"),
    ]


def test_an_end_ends_the_reminders(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__remind_after_s=4 * 3600.0)
    g.to(START_MS + 6 * HOUR_MS, A=DRY)
    assert g.to(START_MS + 60 * HOUR_MS) == [("12:00", "Over: water now, A (open bench)")]


@pytest.mark.parametrize("restarts", [False, True])
def test_a_reminder_held_for_the_night_is_spared_where_it_is_over_by_morning(
    sqlite_store: Store, restarts: bool
) -> None:
    g = garden(
        sqlite_store,
        cold__open_delay_s=600.0,
        cold__close_delay_s=600.0,
        notices__remind_after_s=3600.0,
        **NIGHT,
    )
    g.to(AT_22 - HOUR_MS)
    g.to(AT_22 + 5 * HOUR_MS, soil_c=COLD_C)
    assert [n.waits_for for n in g.notices(NoticeState.HELD)] == [Hold.QUIET]
    if restarts:
        g.watch = g.new_watch()
        g.watch.judge_all()
    assert g.to(AT_22 + 10 * HOUR_MS)[:1] == [("06:30", "Over: too cold, A (open bench)")]


def test_what_stands_in_a_shadow_is_held_until_it_lifts(
    sqlite_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A shadow is what another episode casts; here the test casts one over tray A."""
    g = garden(sqlite_store, 2)
    dark = {g.tray_ids["A"]}

    def shadow(shadows: Shadows, rule: str, subject: Subject) -> str:
        del shadows, rule
        return "waits while its probe is quiet" if subject.number in dark else ""

    monkeypatch.setattr(Shadows, "over", shadow)
    assert g.to(START_MS + 2 * HOUR_MS, A=DRY, B=DRY) == [("06:30", "Water now: B (open bench)")]
    (held,) = g.notices(NoticeState.HELD)
    assert (held.waits_for, held.trouble) == (Hold.SHADOW, "waits while its probe is quiet")
    dark.clear()
    assert g.to(START_MS + 3 * HOUR_MS, A=DRY, B=DRY) == [("08:00", "Water now: A (open bench)")]


def test_a_reminder_waits_in_the_shadow_too(sqlite_store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    g = garden(sqlite_store, notices__remind_after_s=3600.0)
    dark = False

    def shadow(shadows: Shadows, rule: str, subject: Subject) -> str:
        del shadows, rule, subject
        return "waits while its probe is quiet" if dark else ""

    monkeypatch.setattr(Shadows, "over", shadow)
    assert g.to(START_MS + HOUR_MS, A=DRY) == [("06:30", "Water now: A (open bench)")]
    dark = True
    assert g.to(START_MS + 4 * HOUR_MS, A=DRY) == []
    dark = False
    assert [words for _, words in g.to(START_MS + 5 * HOUR_MS, A=DRY)] == ["Still: water now, A (open bench)"]


@pytest.mark.parametrize("name", ["console", "mqtt"])
def test_console_and_broker_have_a_filter_and_a_digest_of_their_own(sqlite_store: Store, name: str) -> None:
    given = {f"notices__{name}_digest": "18:00", "notices__mqtt": True, "cold__open_delay_s": 600.0}
    g = garden(sqlite_store, 1, **given)
    g.to(START_MS + 11 * HOUR_MS, A=DRY, soil_c=COLD_C)
    other = "mqtt" if name == "console" else "console"
    titles = {way: [m.title for m in g.outs[way].got] for way in (name, other)}
    assert titles[name] == ["Water now: A (open bench)", "Still: water now, A (open bench)"], "urgent at once"
    assert titles[other][0] == "Too cold: A (open bench)"
    g.to(START_MS + 13 * HOUR_MS, A=DRY, soil_c=COLD_C)
    assert [m.title for m in g.outs[name].got][2:] == ["Too cold: A (open bench)"]


@pytest.mark.parametrize("name", ["console", "mqtt"])
def test_console_and_broker_take_only_what_is_severe_enough(sqlite_store: Store, name: str) -> None:
    given = {f"notices__{name}_from": "urgent", "notices__mqtt": True, "cold__open_delay_s": 600.0}
    g = garden(sqlite_store, 1, **given)
    g.to(START_MS + 2 * HOUR_MS, A=DRY, soil_c=COLD_C)
    assert [m.title for m in g.outs[name].got] == ["Water now: A (open bench)"]


OVER = "Over: water now, A (open bench)"


@pytest.mark.parametrize(
    ("watered_min", "settings", "ends"),
    [
        (None, {}, True),  # it rained
        (55, {}, False),
        (10, {}, True),  # before anybody was told
        (55, {"notices__shared": True}, True),
        (-600, {}, True),
    ],
)
def test_the_end_is_told_unless_whoever_was_told_has_watered_since(
    sqlite_store: Store, watered_min: int | None, settings: dict[str, Any], ends: bool
) -> None:
    g = garden(sqlite_store, **settings)
    g.to(START_MS + HOUR_MS, A=DRY)  # told at 06:30
    if watered_min is not None:
        g.write(Kind.WATERED, START_MS + watered_min * MINUTE_MS)
    assert g.to(START_MS + 2 * HOUR_MS) == ([("07:00", OVER)] if ends else [])
    if not ends:
        (spared,) = g.notices(NoticeState.SPARED)
        assert spared.trouble == "not sent: the journal has what ended it (watered 06:55)"


def test_rain_a_day_after_a_watering_that_did_not_help_is_told(sqlite_store: Store) -> None:
    g = garden(sqlite_store)
    g.to(START_MS + HOUR_MS, HALF_HOUR_MS, A=DRY)
    g.write(Kind.WATERED, g.clock.ms)
    g.to(START_MS + 24 * HOUR_MS, HALF_HOUR_MS, A=DRY)
    assert g.to(START_MS + 25 * HOUR_MS) == [("06:00", OVER)]


def test_the_end_follows_a_beginning_that_its_channel_has_only_just_taken(sqlite_store: Store) -> None:
    """Who hears “water now” only after the watering hears that it is over as well."""
    g = garden(sqlite_store)
    g.out.fail = ChannelError("no")
    g.to(START_MS + HOUR_MS, A=DRY)
    g.write(Kind.WATERED, g.clock.ms)
    g.to(START_MS + 2 * HOUR_MS)
    g.out.fail = None
    assert [title for _, title in g.to(START_MS + 4 * HOUR_MS)] == ["Water now: A (open bench)", OVER]


def test_an_end_that_waits_for_the_morning_is_spared_where_the_journal_has_it_by_then(
    sqlite_store: Store,
) -> None:
    g = garden(sqlite_store, cold__open_delay_s=600.0, cold__close_delay_s=600.0, **NIGHT)
    g.to(AT_22, soil_c=COLD_C)
    g.to(AT_22 + HOUR_MS)
    g.write(Kind.MOVED, AT_22 - 5 * MINUTE_MS, place_id=g.place.place_id)
    assert g.to(AT_22 + 10 * HOUR_MS) == []
    assert "the journal has what ended it (moved" in g.notices(NoticeState.SPARED)[0].trouble


def test_a_channel_that_comes_back_hears_of_one_need_in_order_and_of_the_most_urgent_first(
    sqlite_store: Store,
) -> None:
    """Dry, wet and dry again while the line was down: never “over” after “water now”."""
    g = garden(sqlite_store, 2, cold__open_delay_s=600.0, notices__longest_retry_s=600.0)
    g.to(START_MS + HOUR_MS, A=DRY)
    g.out.fail = ChannelError("no")
    g.to(START_MS + 2 * HOUR_MS)
    g.to(START_MS + 3 * HOUR_MS, A=DRY, soil_c=COLD_C)
    g.out.fail = None
    told = [title for _, title in g.to(START_MS + 4 * HOUR_MS, A=DRY, soil_c=COLD_C)]
    assert told == [OVER, "Water now: A (open bench)", "Too cold: 2 trays in open bench"]


def test_an_end_that_waited_for_its_beginning_is_spared_where_it_has_begun_again(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__longest_retry_s=600.0)
    g.out.fail = ChannelError("no")
    g.to(START_MS + HOUR_MS, A=DRY)
    g.to(START_MS + 2 * HOUR_MS)
    g.to(START_MS + 3 * HOUR_MS, A=DRY)
    g.out.fail = None
    told = [title for _, title in g.to(START_MS + 4 * HOUR_MS, A=DRY)]
    assert told == ["Water now: A (open bench)", "Water now: A (open bench)"]
    assert [n.trouble for n in g.notices(NoticeState.SPARED)] == ["not sent: it had begun again by then"]


def test_what_is_over_one_by_one_leaves_a_held_notice_of_many_one_by_one(sqlite_store: Store) -> None:
    g = garden(sqlite_store, 5, notices__gather_s=120.0, notices__longest_retry_s=600.0)
    g.out.fail = ChannelError("no")
    g.to(START_MS + HOUR_MS, A=DRY, B=DRY, C=DRY, D=DRY, E=DRY)
    g.hush("tonight", tray="", place="open bench")
    dry: dict[str, Any] = dict.fromkeys("ABCDE", DRY)
    for hour, tray in enumerate("ABCD", start=2):
        dry[tray] = WET
        g.to(START_MS + hour * HOUR_MS, **dry)
    g.out.fail = None
    spared = g.notices(NoticeState.SPARED)
    assert len({episode_id for n in spared for episode_id, _ in n.changes}) == len(spared) == 4
    assert {n.trouble for n in spared} == {"not sent: it was over before its hush ended"}
    assert sum(e.closed_ms is not None for e in g.episodes()) == 4
    assert g.to(START_MS + 13 * HOUR_MS, **dry) == [("18:00", "Water now: E (open bench)")]


def test_what_was_found_late_then_stood_in_a_shadow_and_had_ended_goes_into_the_digest(
    sqlite_store: Store,
) -> None:
    """Its probe was quiet; its readings come in two pieces, and it counts as quiet till the second."""
    line = Line(sqlite_store)
    line.run(replace(CALM, moisture_m3_m3=0.36), 0.5)
    line.step_ms = HALF_HOUR_MS
    line.run(SILENT, 12)
    assert line.said == [("quiet", "opened")]
    begin_ms = line.at_ms - 11 * HOUR_MS

    def upload(first_ms: int, hours: int, moisture: float) -> None:
        for n in range(hours * 6):
            line.measure(first_ms + n * 10 * MINUTE_MS, replace(CALM, moisture_m3_m3=moisture))
        line.garden.watch.judge([line.tray_id], {line.tray_id: first_ms})

    upload(begin_ms, 3, 0.24)
    for _ in range(3):
        line.garden.clock.ms += 61_000
        line.look()
    (held,) = line.garden.notices(NoticeState.HELD)
    assert held.waits_for is Hold.SHADOW
    upload(begin_ms + 3 * HOUR_MS, 3, 0.40)
    line.at_ms = line.garden.clock.ms
    line.step_ms = 10 * MINUTE_MS
    line.run(CALM, 1)
    assert ("dry", "past") in line.said
    assert ("dry", "opened") not in line.said
    assert line.garden.notices(NoticeState.SPARED) == []


def test_what_is_over_as_it_happens_in_its_quiet_hours_is_spared_also_if_it_began_unseen(
    sqlite_store: Store,
) -> None:
    """Found late, held for the night, and over before our eyes: nothing is left to tell."""
    g = garden(sqlite_store, cold__open_delay_s=600.0, cold__close_delay_s=600.0, **NIGHT)
    g.to(AT_22 - 6 * HOUR_MS)
    g.clock.ms = AT_22 + HOUR_MS
    for n in range(20):
        g.measure(AT_22 - 6 * HOUR_MS + n * 10 * MINUTE_MS, WET, COLD_C)
    g.watch.judge([g.tray_ids["A"]], {g.tray_ids["A"]: AT_22 - 6 * HOUR_MS})
    for _ in range(3):
        g.clock.ms += 61_000
        g.watch.tick()
    assert [n.waits_for for n in g.notices(NoticeState.HELD)] == [Hold.QUIET]
    g.to(g.clock.ms + 2 * HOUR_MS)
    (notice,) = g.notices()
    assert (notice.state, notice.trouble) == (
        NoticeState.SPARED,
        "not sent: it was over before the quiet hours were",
    )


COLD_AT_ONCE: dict[str, Any] = {"cold__open_delay_s": 600.0, "cold__close_delay_s": 600.0}


def test_what_can_wait_is_reminded_of_in_the_morning_as_one_and_not_at_night(sqlite_store: Store) -> None:
    """Told at 02:10 in two places, so a reminder a day later would come at 02:10 as well."""
    g = garden(sqlite_store, 2, notices__remind_after_s=6 * 3600.0, **COLD_AT_ONCE)
    with g.store.write() as tx:
        frame = garden_store.add_place(tx, "frame", PlaceKind.COLD_FRAME)
    g.write(Kind.MOVED, g.clock.ms, tray="B", place_id=frame.place_id)
    two_at_night = AT_22 + 4 * HOUR_MS
    g.to(two_at_night, HALF_HOUR_MS)
    assert [hour for hour, _ in g.to(two_at_night + DAY_MS, HALF_HOUR_MS, soil_c=COLD_C)] == ["02:30"] * 2
    told = g.to(two_at_night + DAY_MS + 12 * HOUR_MS, soil_c=COLD_C)
    assert told == [("07:00", "Still: too cold, 2 trays")]
    body = g.out.got[-1].body
    assert "• A (open bench): " in body
    assert "• B (frame): " in body
    assert g.to(two_at_night + DAY_MS + 20 * HOUR_MS)[0][1].startswith("Over: too cold")


def test_what_is_over_by_morning_is_not_reminded_of(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__remind_after_s=6 * 3600.0, **COLD_AT_ONCE)
    g.to(AT_22 + 2 * HOUR_MS, HALF_HOUR_MS)
    g.to(AT_22 + 2 * HOUR_MS + DAY_MS + 4 * HOUR_MS, HALF_HOUR_MS, soil_c=COLD_C)
    assert [title for _, title in g.told] == ["Too cold: A (open bench)"]
    g.to(AT_22 + 2 * DAY_MS, HALF_HOUR_MS)
    assert [title for _, title in g.told[1:]] == ["Over: too cold, A (open bench)"]


def test_what_does_damage_within_hours_is_reminded_of_at_night_too(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__remind_after_s=4 * 3600.0)
    g.to(AT_22 - 2 * HOUR_MS, HALF_HOUR_MS)
    g.to(AT_22 + 4 * HOUR_MS, HALF_HOUR_MS, A=DRY)
    assert g.told == [("20:30", "Water now: A (open bench)"), ("00:30", "Still: water now, A (open bench)")]


def test_what_was_hushed_until_late_is_told_when_the_hush_ends(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__remind_after_s=6 * 3600.0, **COLD_AT_ONCE)
    g.to(AT_22 - 3 * HOUR_MS, HALF_HOUR_MS, soil_c=COLD_C)
    assert g.to(AT_22 - 2 * HOUR_MS, HALF_HOUR_MS, soil_c=COLD_C) == []
    g.hush("22:00")
    assert g.to(AT_22 + HOUR_MS, HALF_HOUR_MS, soil_c=COLD_C) == [
        ("22:00", "Still: too cold, A (open bench)")
    ]


def test_a_digest_of_its_own_says_when_a_channel_is_reminded(sqlite_store: Store) -> None:
    g = garden(
        sqlite_store,
        notices__remind_after_s=6 * 3600.0,
        notices__console_digest="06:00, 19:00",
        **COLD_AT_ONCE,
    )
    g.to(AT_22 + 4 * HOUR_MS, HALF_HOUR_MS)
    g.to(AT_22 + 4 * HOUR_MS + 2 * DAY_MS, HALF_HOUR_MS, soil_c=COLD_C)
    assert g.told[0] == ("06:00", "Too cold: A (open bench)")
    assert g.told[1][0] in ("06:00", "19:00")


def test_that_a_tray_was_put_there_at_first_is_no_deed_that_did_not_help(sqlite_store: Store) -> None:
    g = garden(sqlite_store, notices__remind_after_s=2 * 3600.0, **COLD_AT_ONCE)
    g.write(Kind.MOVED, START_MS, place_id=g.place.place_id)
    g.to(START_MS + 10 * HOUR_MS, HALF_HOUR_MS, soil_c=COLD_C)
    assert [title for _, title in g.told] == ["Too cold: A (open bench)", "Still: too cold, A (open bench)"]
    assert "not helped" not in g.out.got[-1].body


@pytest.mark.parametrize("written", [True, False])
def test_whoever_wrote_that_the_seed_is_up_is_not_told_that_cold_is_no_matter_any_more(
    sqlite_store: Store, written: bool
) -> None:
    """It had been warm enough for hours by then, and would have been over by that half an hour later."""
    g = garden(sqlite_store, cold__open_delay_s=600.0, cold__close_delay_s=3 * HOUR_MS / 1000)
    g.to(START_MS + HOUR_MS, soil_c=COLD_C)
    g.to(START_MS + 3 * HOUR_MS + HALF_HOUR_MS)
    if written:
        g.write(Kind.EMERGED, g.clock.ms, data={"count": 3})
    ends = g.to(START_MS + 6 * HOUR_MS)
    assert ends == ([] if written else [("10:00", "Over: too cold, A (open bench)")])
    if written:
        assert "the journal has what ended it (emerged" in g.notices(NoticeState.SPARED)[0].trouble
