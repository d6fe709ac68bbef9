"""The host: store, broker or link, and the threads that store, watch and deliver. All of them, or none."""

import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from traywarden.domain.garden import Garden
from traywarden.errors import NoGardenError, TraywardenError
from traywarden.links.broker import BuiltinBroker
from traywarden.links.inbox import Inbox, Link
from traywarden.links.mqtt import MqttLink
from traywarden.services import ingest as ingest_module
from traywarden.services.asking.hearing import Hearing
from traywarden.services.asking.standing import no_more_often, paced_rules
from traywarden.services.clock import Clock, ReadingsClock, SystemClock
from traywarden.services.desk import Desk
from traywarden.services.following import Following
from traywarden.services.ingest import QUIET_S, Committed, Ingest
from traywarden.services.level_names import idle_levels
from traywarden.services.probe_settings import ProbeSettings
from traywarden.services.running import RunningMark
from traywarden.services.threads import Threads
from traywarden.services.upkeep import Upkeep
from traywarden.services.vitals import vitals_of
from traywarden.services.watch import Watch
from traywarden.services.ways_out import ways_out
from traywarden.services.week_by_schedule import WeekBySchedule, WeekFile
from traywarden.services.wired import with_wired
from traywarden.settings import Settings
from traywarden.store import garden as garden_store
from traywarden.store import readings as reading_store
from traywarden.store.crops import load_crops
from traywarden.store.store import Store
from traywarden.turns import Turns

Say = Callable[[str], None]

_LOOK_S = 0.5
_FEW_MESSAGES = 200
_LONGEST_HOLD_S = 5.0
"""In a rush (more messages at a time than are few) storing goes before judging, but no longer than this."""
_SETTLED_S = 0.5
_PLAYED_PACE_S = 4 * 3600.0
"""In a garden that is played fast the rules by the clock are asked as often as there is time for."""


class Host:
    """Owns everything that runs. `start`, then `wait` until `request_stop` or a failure, then `stop`.

    `say` takes sentences for the person who runs it; `on_commit` is told of every commit, on the storing
    thread, and must be quick; `week_file` writes a week's report as a page; `played` is a garden whose
    fortnight takes a minute: it is told in its own time, as far as its readings have come.
    """

    def __init__(
        self,
        settings: Settings,
        *,
        say: Say = print,
        on_commit: Callable[[Committed], None] | None = None,
        week_file: WeekFile | None = None,
        played: bool = False,
    ) -> None:
        self.settings, self._played = settings, played
        self._say, self._on_commit, self._week_file = say, on_commit, week_file
        self._mark = RunningMark(settings.home, _store_file(settings))
        self._inbox = Inbox()
        self._failure: TraywardenError | None = None
        self._threads = Threads(self._fail)
        self._ending = self._threads.ending
        self._storing: threading.Thread | None = None
        self._store: Store | None = None
        self._link: Link | None = None
        self._broker: BuiltinBroker | MqttLink | None = None
        self._ingest: Ingest | None = None
        self._desk: Desk | None = None
        self._left: list[Desk] = []
        self._changing_desks = threading.Lock()
        self._takers: list[Callable[[Settings], None]] = []
        self._hearing = Hearing()
        self._garden: Garden | None = None
        self._clock: Clock = SystemClock()
        self._turns = Turns()
        self._held: list[Committed] = []
        self._held_since_s = self._committed_s = 0.0

    @property
    def store(self) -> Store:
        assert self._store is not None, "the host has not been started"
        return self._store

    @property
    def garden(self) -> Garden:
        assert self._garden is not None, "the host has not been started"
        return self._garden

    @property
    def ingest(self) -> Ingest:
        assert self._ingest is not None, "the host has not been started"
        return self._ingest

    @property
    def watch(self) -> Watch:
        assert self._desk is not None, "the host has not been started"
        return self._desk.watch

    @property
    def clock(self) -> Clock:
        """What the host takes for now."""
        return self._clock

    @property
    def broker_address(self) -> tuple[str, int]:
        """Where probes reach us; with the built-in broker on port 0, the port it took."""
        assert self._link is not None, "the host has not been started"
        return self._link.address

    def start(self) -> None:
        """Returns when readings can arrive. On any error nothing is left running, and it is raised."""
        try:
            self._start()
        except BaseException:
            self.stop()
            raise

    def _start(self) -> None:
        self._mark.take()
        store = self._store = Store.open(self.settings.store_url)
        with store.read() as tx:
            garden = garden_store.the_garden(tx)
        if garden is None:
            raise NoGardenError(self.settings.home)
        self._garden = garden
        with store.write() as tx:
            garden_store.prove_writable(tx)
        self._broker = self._chosen_link()
        link = self._link = with_wired(self._broker, self.settings, self._inbox, self._say)
        clock = self._clock = self._chosen_clock(store)
        self._desk = self._new_desk(self.settings)
        self._desk.start()
        self._ingest = Ingest(
            store,
            link,
            self._inbox,
            garden.slug,
            self.settings,
            clock,
            after_commit=self._committed,
            quiet=self._pass_on,
            say=self._say,
        )
        self._storing = self._threads.start("store readings", self._ingest.run)
        link.start()
        told = ProbeSettings(store, garden.slug, self.settings, clock, load_crops(), link.publish)
        self._threads.start("tell probes their settings", lambda: told.run(self._ending))
        upkeep = Upkeep(store, self.settings, clock, say=self._say, busy=self._rush, turns=self._turns)
        self._threads.start("keep summaries", lambda: upkeep.run(self._ending))
        weekly = WeekBySchedule(
            store,
            self.settings,
            clock,
            week_file=self._week_file,
            after_write=self._wake_deliver,
            turns=self._turns,
        )
        self._threads.start("make the week's report", lambda: weekly.run(self._ending))
        self._takers += [told.take, weekly.take]
        following = Following(self.settings, self._take, self._say)
        self._threads.start("follow the settings", lambda: following.run(self._ending))
        self._mark.write(_system_ms(), link.address)

    def request_stop(self) -> None:
        """Make `wait` return; safe to call from a signal handler or any thread."""
        self._ending.set()

    def wait(self) -> None:
        """Until `request_stop`; raises the error that brought the host down, if one did."""
        while not self._ending.wait(_LOOK_S):
            self._look()
        self.check()

    def keep_up(self) -> None:
        """Judge, ask and let go what is due, on the calling thread; meanwhile no other desk takes over."""
        with self._changing_desks:
            self.watch.keep_up()

    def check(self) -> None:
        """Raises the error that brought the host down, if one did."""
        self._look()
        if self._failure is not None:
            raise self._failure

    def _look(self) -> None:
        if not self._ending.is_set() and self._link is not None and not self._link.alive:
            self._fail("The link to the broker has ended by itself; start the host again.")

    def stop(self) -> None:
        """Store what is queued, acknowledge it, and end. May be called twice."""
        self._ending.set()
        self._inbox.close()  # what arrives from here on is not acknowledged and comes again
        if self._ingest is not None:
            self._ingest.end()
        if self._storing is not None:
            self._storing.join()
        with self._changing_desks:
            if self._desk is not None:
                self._desk.stop()
        self._threads.join()
        if self._link is not None:
            self._link.stop()
        if self._store is not None:
            self._store.close()
            self._store = None
        self._mark.release(_system_ms())

    def __enter__(self) -> "Host":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    # Parts -------------------------------------------------------------------------------------------------

    def _chosen_link(self) -> BuiltinBroker | MqttLink:
        if self.settings["broker.builtin"]:
            return BuiltinBroker(self.settings, ingest_module.wanted, self._inbox)
        return MqttLink(self.settings, ingest_module.FILTERS, self._inbox, say=self._say)

    def _chosen_clock(self, store: Store) -> Clock:
        if self.settings["host.clock"] == "system":
            return SystemClock()
        earliest_ms = int(datetime(self.settings["wire.earliest_year"], 1, 1, tzinfo=UTC).timestamp() * 1000)
        clock = ReadingsClock(earliest_ms=earliest_ms)
        with store.read() as tx:
            for time_ms in sorted(reading_store.newest_credible(tx).values()):
                clock.observe(time_ms)
        return clock

    def _new_desk(self, settings: Settings) -> Desk:
        """Retries wait in the system's time, whatever the garden's clock says."""
        with self.store.read() as tx:
            for sentence in idle_levels(tx, settings):
                self._say(f"{settings.home / 'settings.toml'}: {sentence}")
        return Desk(
            self.store,
            settings,
            self._clock,
            self._clock if self._played else SystemClock(),
            ways_out(settings, self._say, self.garden.slug, lambda: self.broker_address),
            asked=no_more_often(paced_rules(settings), _PLAYED_PACE_S if self._played else 0.0),
            vitals=lambda: vitals_of(settings.home, self._broker, self._ingest),
            hearing=self._hearing,
            turns=self._turns,
            settled=self._await_settled,
            fail=self._fail,
            left=lambda notice_id: any(desk.is_sending(notice_id) for desk in self._left),
        )

    def _take(self, settings: Settings) -> None:
        """From now on notices go by these settings. Raises StoreError, with all as before."""
        with self._changing_desks:
            if self._ending.is_set() or self._desk is None:
                return
            desk = self._new_desk(settings)  # first: what fails here leaves the other at work
            self._desk.stop()
            if self._ending.is_set():
                return
            self._left = [left for left in (*self._left, self._desk) if left.hangs]
            self._desk = desk
            desk.start()
        for take in self._takers:
            take(settings)
        self._say("The settings have changed; notices go by them now.")

    def _await_settled(self, ending: threading.Event) -> None:
        """What gathered while we were away is stored before it is judged."""
        began_s = time.monotonic()
        while time.monotonic() - began_s < _LONGEST_HOLD_S and not ending.wait(QUIET_S):
            storing = self._ingest is not None and self._ingest.waiting > 0
            if not storing and time.monotonic() - max(began_s, self._committed_s) > _SETTLED_S:
                return

    def _wake_deliver(self) -> None:
        if self._desk is not None:
            self._desk.wake()

    def _committed(self, committed: Committed) -> None:
        """On the storing thread, as is `_pass_on`."""
        self._committed_s = time.monotonic()
        if not self._held:
            self._held_since_s = self._committed_s
        self._held.append(committed)
        rush = self._rush() or (committed.messages > _FEW_MESSAGES and len(self._inbox) > 0)
        if not rush or self._committed_s - self._held_since_s >= _LONGEST_HOLD_S:
            self._pass_on()
        if self._on_commit is not None:
            self._on_commit(committed)

    def _rush(self) -> bool:
        return len(self._inbox) > _FEW_MESSAGES

    def _pass_on(self) -> None:
        for held in self._held:
            if self._desk is not None:
                self._desk.watch.committed(held)
        self._held.clear()

    def _fail(self, sentence: str, error: Exception | None = None) -> None:
        if self._failure is None:
            self._failure = TraywardenError(sentence)
            if isinstance(error, TraywardenError):
                self._failure.exit_code = error.exit_code
            self._failure.__cause__ = error
        self._ending.set()


def _store_file(settings: Settings) -> Path | None:
    scheme, _, path = settings.store_url.partition(":///")
    return Path(path) if scheme == "sqlite" else None


def _system_ms() -> int:
    return time.time_ns() // 1_000_000
