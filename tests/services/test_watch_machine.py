"""Readings, late and doubled ones, gaps, hushes, nights, deeds, crashes and failing channels, in any order.

Every change of an episode is told, waits to be told, or is spared with its reason, to everyone who asked for
it; the end never before the beginning; nothing that is hushed, nor by night what is not urgent.

TRAYWARDEN_GARDENS says how many gardens live.
"""

import contextlib
import os
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from tests.named_points import named_points
from tests.services.watched_garden import (
    COLD_C,
    DAY_MS,
    DRY,
    HOUR_MS,
    JUST_ABOVE,
    MINUTE_MS,
    START_MS,
    WARM_C,
    WET,
    MemoryChannel,
    WatchedGarden,
    channel,
    settings_with,
)
from traywarden.domain.episodes import ChangeKind
from traywarden.domain.journal import Kind
from traywarden.domain.notices import OPEN_STATES, NoticeState
from traywarden.domain.subjects import Subject, SubjectKind, a_tray
from traywarden.errors import ChannelError
from traywarden.links.channels import Message
from traywarden.services import deliver as deliver_module
from traywarden.services import watch as watch_module
from traywarden.services.deliver import Deliver
from traywarden.services.hushing import Wish, end_hush, put_hush
from traywarden.store import hushes as hush_store
from traywarden.store import notices as notice_store
from traywarden.store.store import Store

POINTS = [name for path, name in named_points() if path.name in ("watch.py", "deliver.py")]
CHANNELS = ("console", "mail", "urgent only")
STEP_MS = 10 * MINUTE_MS
Changes = tuple[tuple[str, ChangeKind], ...]
TRAYS = st.sampled_from("AB")


class _CrashError(BaseException):
    """The process dies here."""


class Listener(MemoryChannel):
    """Refuses to be told what is hushed, or in quiet hours what came up in them and is not urgent."""

    def __init__(self, name: str, machine: "Garden") -> None:
        super().__init__(name)
        self._machine = machine

    def send(self, message: Message) -> None:
        if self.fail is None:
            self._machine.may_be_sent(self.name, message.notice_id)
        super().send(message)


class Garden(RuleBasedStateMachine):
    """Two trays, three channels; the model is what each channel has really been given."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        shutil.copyfile(_template(), self.folder / "garden.sqlite3")
        self.store = Store.open(f"sqlite:///{self.folder / 'garden.sqlite3'}")
        chosen = settings_with(
            channels=[channel("mail", digest="07:00, 18:00"), channel("urgent only", "urgent")],
            notices__quiet_from="22:00",
            notices__quiet_until="06:00",
            notices__gather_s=900.0,
            notices__remind_after_s=6 * 3600.0,
            cold__open_delay_s=3600.0,
            cold__close_delay_s=1800.0,
            notices__most_attempts=3,
        )
        self.garden = WatchedGarden(self.store, chosen, trays=2)
        self.channels = {name: Listener(name, self) for name in CHANNELS}
        self.measured: list[tuple[int, float | None, float, str]] = []
        self.freed: set[str] = set()
        self.changed = True

    @initialize()
    def begin(self) -> None:
        self.restart()

    def teardown(self) -> None:
        try:
            if hasattr(self, "deliver"):
                self.everything_is_told_in_the_end()
        finally:
            self.store.close()
            shutil.rmtree(self.folder)

    # What can happen

    @rule(
        tray=TRAYS,
        moisture=st.sampled_from([DRY, DRY, WET, JUST_ABOVE, None]),
        soil_c=st.sampled_from([COLD_C, WARM_C]),
        times=st.integers(1, 9),
    )
    def readings(self, tray: str, moisture: float | None, soil_c: float, times: int) -> None:
        for _ in range(times):
            self.garden.clock.ms += STEP_MS
            self._measure(self.garden.clock.ms, moisture, soil_c, tray)
        self._judge(tray, self.garden.clock.ms - (times - 1) * STEP_MS)

    @rule(tray=TRAYS, moisture=st.sampled_from([DRY, WET]), back=st.integers(1, 40), times=st.integers(1, 6))
    def late_readings(self, tray: str, moisture: float, back: int, times: int) -> None:
        """Off the usual beat, so that they are new instants between others."""
        first_ms = self.garden.clock.ms - back * STEP_MS + 3 * MINUTE_MS
        for number in range(times):
            at_ms = first_ms + number * 4 * MINUTE_MS
            if at_ms <= self.garden.clock.ms:
                self._measure(at_ms, moisture, WARM_C, tray)
        self._judge(tray, first_ms)

    @precondition(lambda self: self.measured)
    @rule(data=st.data())
    def redelivery(self, data: st.DataObject) -> None:
        at_ms, moisture, soil_c, tray = data.draw(st.sampled_from(self.measured))
        before = self.garden.kinds()
        self.garden.measure(at_ms, moisture, soil_c, tray)
        self._judge(tray, at_ms)
        assert self.garden.kinds() == before, "a redelivered reading told something"

    @rule(hours=st.integers(1, 30))
    def gap(self, hours: int) -> None:
        self.garden.clock.ms += hours * HOUR_MS
        self.garden.watch.tick()

    @rule(hours=st.integers(-60, 60).filter(bool))
    def the_clock_is_set(self, hours: int) -> None:
        """By hand, or by a time server that was out of reach until now."""
        self.garden.clock.set_by(hours * HOUR_MS)
        self.garden.watch.tick()
        self.changed = True

    @rule(where=st.sampled_from(POINTS), tray=TRAYS, moisture=st.sampled_from([DRY, WET]))
    def crash_at_a_named_point(self, where: str, tray: str, moisture: float) -> None:
        """Readings come, are judged and told, and somewhere on the way we die (or do not come by there)."""

        def dies(name: str) -> None:
            if name == where:
                raise _CrashError

        with pytest.MonkeyPatch.context() as patch:
            for module in (watch_module, deliver_module):
                patch.setattr(module, "point", dies)
            with contextlib.suppress(_CrashError):
                for _ in range(5):
                    self.garden.clock.ms += STEP_MS
                    self._measure(self.garden.clock.ms, moisture, WARM_C, tray)
                self._judge(tray, self.garden.clock.ms - 4 * STEP_MS)
                self.garden.watch.tick()
                self.deliver.send_due()
        self.restart()

    @rule()
    def a_minute_passes(self) -> None:
        self.garden.clock.ms += 61_000
        self.garden.watch.tick()
        self.changed = True

    @rule()
    def restart(self) -> None:
        self.garden.watch = self.garden.new_watch()
        self.garden.watch.judge_all()
        self.deliver = Deliver(self.store, self.garden.settings, self.garden.clock, self.channels)
        self.changed = True

    @rule(tray=TRAYS, moisture=st.sampled_from([DRY, WET]))
    def crash_while_keeping(self, tray: str, moisture: float) -> None:
        """The transaction that keeps episodes and notices does not come to its end."""
        for _ in range(5):
            self.garden.clock.ms += STEP_MS
            self._measure(self.garden.clock.ms, moisture, WARM_C, tray)
        whole = notice_store.put

        def dies(*_: object) -> None:
            raise _CrashError

        notice_store.put = dies  # type: ignore[assignment]
        try:
            self._judge(tray, self.garden.clock.ms - 4 * STEP_MS)
        except _CrashError:
            pass
        finally:
            notice_store.put = whole
        self.restart()

    @rule(failing=st.sets(st.sampled_from(CHANNELS)), permanent=st.booleans())
    def send(self, failing: set[str], permanent: bool) -> None:
        for name, out in self.channels.items():
            out.fail = ChannelError("no", permanent=permanent) if name in failing else None
        self.deliver.send_due()
        self.garden.watch.tick()
        self.changed = True

    @rule()
    def crash_while_sending(self) -> None:
        """The other side has it, and we die before that is written down."""
        for out in self.channels.values():
            out.fail = None
        whole = notice_store.mark_sent

        def dies(*_: object) -> None:
            raise _CrashError

        notice_store.mark_sent = dies  # type: ignore[assignment]
        try:
            self.deliver.send_due()
        except _CrashError:
            pass
        finally:
            notice_store.mark_sent = whole
        self.restart()

    @precondition(lambda self: self.garden.notices(NoticeState.PARKED))
    @rule(data=st.data())
    def a_person_frees_a_parked_notice(self, data: st.DataObject) -> None:
        parked = data.draw(st.sampled_from(self.garden.notices(NoticeState.PARKED)))
        with self.store.write() as tx:
            notice_store.release(tx, parked.notice_id, self.garden.clock.ms)
        self.freed.add(parked.notice_id)
        self.changed = True

    @rule(
        whom=st.sampled_from(["A", "B", "place", "all"]),
        about=st.sampled_from(["", "dry", "cold"]),
        hours=st.integers(1, 30),
    )
    def hush(self, whom: str, about: str, hours: int) -> None:
        wish = Wish(
            f"{hours} h",
            whom if whom in "AB" else "",
            "open bench" if whom == "place" else "",
            whom == "all",
            about,
            "Ana",
        )
        with self.store.write() as tx:
            put_hush(tx, wish, self.garden.settings, self.garden.clock.ms)
        self.changed = True

    @rule()
    def take_the_hushes_back(self) -> None:
        with self.store.write() as tx:
            for hush in hush_store.holding(tx, self.garden.clock.ms):
                end_hush(tx, hush.hush_id, "Ana", self.garden.clock.ms)
        self.garden.watch.tick()
        self.changed = True

    @rule(tray=TRAYS, kind=st.sampled_from([Kind.WATERED, Kind.MOVED]))
    def a_deed(self, tray: str, kind: Kind) -> None:
        more = {"place_id": self.garden.place.place_id} if kind is Kind.MOVED else {}
        self.garden.write(kind, self.garden.clock.ms, tray, **more)

    # What must hold

    def may_be_sent(self, name: str, notice_id: str) -> None:
        if notice_id in self.freed:
            return  # a person asked for this one
        now_ms = self.garden.clock.ms
        with self.store.read() as tx:
            notice = notice_store.notice_named(tx, notice_id)
            hushes = hush_store.holding(tx, now_ms)
        assert notice.channel == name
        # By a clock set back to before the trays were put there, nobody knows where they stand.
        placed = now_ms >= START_MS - DAY_MS
        where = [Subject(SubjectKind.PLACE, self.garden.place.place_id)] if placed else []
        known = {e.episode_id: e for e in self.garden.episodes()}
        mine = [known[episode_id] for episode_id, _ in notice.changes]
        muted = [any(h.covers(e.rule, (e.subject, *where)) for h in hushes) for e in mine]
        assert not any(muted), f"{name} is told of what is hushed: {notice}"
        night = [(at_ms // HOUR_MS) % 24 for at_ms in (notice.created_ms, now_ms)]
        quiet = all(hour >= 22 or hour < 6 for hour in night)
        assert notice.severity == "urgent" or not quiet, f"{name} is woken by {notice}"

    @invariant()
    def every_change_has_a_notice_for_everyone_who_asked(self) -> None:
        if not self.changed:
            return
        self.changed = False
        notices = self.garden.notices()
        assert all(n.trouble for n in notices if n.state in (NoticeState.HELD, NoticeState.SPARED))
        told = {(n.channel, change) for n in notices for change in n.changes}
        spared = {
            (n.channel, change) for n in notices if n.state is NoticeState.SPARED for change in n.changes
        }
        for episode in self.garden.episodes():
            eligible = CHANNELS if episode.rule == "dry" else CHANNELS[:2]
            for name in eligible:
                started = (name, (episode.episode_id, ChangeKind.OPENED)) in told
                past = (name, (episode.episode_id, ChangeKind.PAST)) in told
                assert started or past, f"{name} will never hear of {episode}"
                never = (name, (episode.episode_id, ChangeKind.OPENED)) in spared
                if episode.closed_ms is not None and started and not past and not never:
                    ended = (name, (episode.episode_id, ChangeKind.CLOSED)) in told
                    assert ended, f"{name} will never hear of the end of {episode}"
        assert all(n.channel != "urgent only" for n in self.garden.notices() if "cold:" in n.changes[0][0])

    @invariant()
    def one_episode_at_a_time(self) -> None:
        for name in ("dry", "cold"):
            for tray_id in self.garden.tray_ids.values():
                mine = [e for e in self.garden.episodes(name) if e.subject == a_tray(tray_id)]
                assert sum(e.closed_ms is None for e in mine) <= 1
                state = self.garden.watch.answers().get((name, a_tray(tray_id)))
                is_open = state is not None and state.open_since_ms is not None
                assert is_open == any(e.closed_ms is None for e in mine)

    def everything_is_told_in_the_end(self) -> None:
        for out in self.channels.values():
            out.fail = None
        with self.store.write() as tx:
            for parked in notice_store.in_states(tx, NoticeState.PARKED):
                notice_store.release(tx, parked.notice_id, self.garden.clock.ms)
        self.take_the_hushes_back()
        noon_ms = (self.garden.clock.ms // HOUR_MS // 24 + 2) * 24 * HOUR_MS + 12 * HOUR_MS
        for at_ms in range(noon_ms - 10 * HOUR_MS, noon_ms + 1, 2 * HOUR_MS):
            self.garden.clock.ms = at_ms
            self.garden.watch.tick()
            self.deliver.send_due()
            self.garden.watch.tick()
            self.deliver.send_due()
        left = [
            n
            for n in self.garden.notices(*OPEN_STATES)
            if not all(kind is ChangeKind.REMINDED for _, kind in n.changes)
        ]
        assert left == [], f"never sent: {left}"
        changes = {n.notice_id: n.changes for n in self.garden.notices()}
        for name, out in self.channels.items():
            got = [m.notice_id for m in out.got]
            sent = {n.notice_id for n in self.garden.notices(NoticeState.SENT) if n.channel == name}
            assert sent <= set(got), "marked sent and never given"
            started: set[str] = set()
            for notice_id in got:
                # A hush may have held back what had been given to it when we died, to be told anew.
                for episode_id, kind in changes.get(notice_id, ()):
                    if kind is ChangeKind.CLOSED:
                        assert episode_id in started, f"{name} heard the end of {episode_id} first"
                    started.add(episode_id)
            # Nor does the host know what it had given when it died, and a hush spared thereafter.
            spared = {n.notice_id for n in self.garden.notices(NoticeState.SPARED)}
            known = dict.fromkeys(i for i in got if i not in self.freed and i not in spared)
            self._in_order(name, list(known), changes)

    def _in_order(self, name: str, got: list[str], changes: dict[str, Changes]) -> None:
        """Of no tray and rule did a channel first hear of what began before something it had heard of."""
        last: dict[str, int] = {}
        for notice_id in got:
            for episode_id, kind in changes.get(notice_id, ()):
                need, _, began = episode_id.rpartition(":")
                if kind is not ChangeKind.PAST:
                    at_ms = int(began.rstrip("'"))
                    assert last.get(need, at_ms) <= at_ms, f"{name} heard of {episode_id} too late"
                    last[need] = at_ms

    # Helpers

    def _measure(self, at_ms: int, moisture: float | None, soil_c: float, tray: str) -> None:
        self.garden.measure(at_ms, moisture, soil_c, tray)
        self.measured.append((at_ms, moisture, soil_c, tray))

    def _judge(self, tray: str, first_ms: int) -> None:
        tray_id = self.garden.tray_ids[tray]
        self.garden.watch.judge([tray_id], {tray_id: first_ms})
        self.changed = True


_made: list[Path] = []


def _template() -> Path:
    """A store with its tables: copying it is quicker than making one for every example."""
    if not _made:
        path = Path(tempfile.mkdtemp()) / "template.sqlite3"
        Store.open(f"sqlite:///{path}").close()
        _made.append(path)
    return _made[0]


TestGarden = Garden.TestCase
TestGarden.settings = settings(
    max_examples=int(os.environ.get("TRAYWARDEN_GARDENS", "15")),
    stateful_step_count=30,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
