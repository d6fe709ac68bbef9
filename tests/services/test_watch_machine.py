"""Readings, late and doubled ones, gaps, crashes and failing channels, in any order.

Every change of an episode is told, or waits to be told, to everyone who asked for it; the end never before
the beginning.
"""

import shutil
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from tests.services.watched_garden import (
    COLD_C,
    DRY,
    HOUR_MS,
    JUST_ABOVE,
    MINUTE_MS,
    WARM_C,
    WET,
    MemoryChannel,
    WatchedGarden,
    channel,
    settings_with,
)
from traywarden.domain.episodes import ChangeKind
from traywarden.domain.notices import NoticeState
from traywarden.domain.subjects import a_tray
from traywarden.errors import ChannelError
from traywarden.services.deliver import Deliver
from traywarden.store import notices as notice_store
from traywarden.store.store import Store

CHANNELS = ("console", "mail", "urgent only")
STEP_MS = 10 * MINUTE_MS
TRAYS = st.sampled_from("AB")


class _CrashError(BaseException):
    """The process dies here."""


class Garden(RuleBasedStateMachine):
    """Two trays, three channels; the model is what each channel has really been given."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        shutil.copyfile(_template(), self.folder / "garden.sqlite3")
        self.store = Store.open(f"sqlite:///{self.folder / 'garden.sqlite3'}")
        chosen = settings_with(
            channels=[channel("mail"), channel("urgent only", "urgent")],
            cold__open_delay_s=3600.0,
            cold__close_delay_s=1800.0,
            notices__most_attempts=3,
        )
        self.garden = WatchedGarden(self.store, chosen, trays=2)
        self.channels = {name: MemoryChannel(name) for name in CHANNELS}
        self.measured: list[tuple[int, float | None, float, str]] = []
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
        self.changed = True

    # What must hold

    @invariant()
    def every_change_has_a_notice_for_everyone_who_asked(self) -> None:
        if not self.changed:
            return
        self.changed = False
        told = {(n.channel, change) for n in self.garden.notices() for change in n.changes}
        for episode in self.garden.episodes():
            eligible = CHANNELS if episode.rule == "dry" else CHANNELS[:2]
            for name in eligible:
                started = (name, (episode.episode_id, ChangeKind.OPENED)) in told
                past = (name, (episode.episode_id, ChangeKind.PAST)) in told
                assert started or past, f"{name} will never hear of {episode}"
                if episode.closed_ms is not None and started and not past:
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
        for _ in range(6):
            self.garden.clock.ms += 2 * HOUR_MS
            self.garden.watch.tick()
            self.deliver.send_due()
        left = [n for n in self.garden.notices() if n.state is not NoticeState.SENT]
        assert left == [], f"never sent: {left}"
        changes = {n.notice_id: n.changes for n in self.garden.notices()}
        for name, out in self.channels.items():
            got = [m.notice_id for m in out.got]
            sent = {n.notice_id for n in self.garden.notices() if n.channel == name}
            assert sent <= set(got), "marked sent and never given"
            started: set[str] = set()
            for notice_id in got:
                for episode_id, kind in changes[notice_id]:
                    if kind is ChangeKind.CLOSED:
                        assert episode_id in started, f"{name} heard the end of {episode_id} first"
                    started.add(episode_id)

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
    max_examples=25,
    stateful_step_count=30,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
