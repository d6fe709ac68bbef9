"""Plays the demo garden through a real host: its probes publish over MQTT and wait for receipts."""

import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from traywarden import wiring
from traywarden.demo.gardener import Gardener
from traywarden.demo.home import fresh_home
from traywarden.demo.pages import pages_of
from traywarden.demo.screen import Screen
from traywarden.demo.setup import SetUp, set_up, write_deed
from traywarden.demo.simulation import Sent, Simulation
from traywarden.demo.view import Viewer
from traywarden.domain.garden import Garden
from traywarden.domain.notices import NoticeState
from traywarden.domain.readings import Reading
from traywarden.links.publisher import ProbePublisher
from traywarden.services.host import Host
from traywarden.services.ingest import Committed
from traywarden.services.publishing import probe_publisher
from traywarden.settings import Settings, load
from traywarden.store import notices as notice_store
from traywarden.store.store import Store

SEED = 7
STEPS_PER_HOUR = 4
_SHOW_EVERY_S = 0.3
_MOST_HELD = 96
"""Instants a probe may hold before the play waits for the host."""
_DRAIN_S = 60.0
_STORED_S, _LOOK_S = 5.0, 0.002
_TOLD_S = 20.0


@dataclass(frozen=True, slots=True)
class Played:
    """What came of a play, and the address of its pages.

    `first_notice_s` counts from its beginning; None when no notice came.
    """

    settings: Settings
    garden: Garden
    end_ms: int
    sent: int
    stored: int
    unreceipted: int
    took_s: float
    first_notice_s: float | None
    address: str


class Play:
    """One play, from an empty folder to the last receipt. Its pages stay for as long as `beside` is open."""

    def __init__(
        self,
        home: Path,
        days: float,
        hours_per_s: float | None,
        screen: Screen,
        end_ms: int,
        beside: ExitStack,
    ) -> None:
        self._home, self._screen, self._hours_per_s = home, screen, hours_per_s
        self._beside = beside
        self._simulation = Simulation(end_ms // 1000, days, SEED)
        self._gardener = Gardener(self._simulation.moulds, self._simulation.steps)
        self._began_s = time.monotonic()
        self._shown_s = 0.0
        self._first_notice_s: float | None = None
        self._stored = 0
        self._sent = 0
        self._at_ms = self._simulation.start_s * 1000

    def run(self) -> Played:
        """Set up, play and wait until all is receipted and judged. Raises what the host raises."""
        aside = fresh_home(self._home)
        if aside is not None:
            self._screen.say(f"The garden of an earlier demo is kept in {aside}.")
        # The environment is left out: it may name a store that is not the demo's.
        settings = load(self._home, environ={}, overrides={"host.clock": "readings"})
        made = self._set_up(settings)
        host = wiring.host(settings, say=self._say_little, on_commit=self._committed, played=True)
        with host:
            address, port = host.broker_address
            self._screen.say(f"The host runs; its built-in broker listens on {address}:{port}.")
            pages = self._beside.enter_context(pages_of(settings))
            self._screen.say(f"Pages for the browser, while it plays: {pages.address}")
            viewer = Viewer(host.store, made.garden, earliest_year=settings["wire.earliest_year"])
            publishers = {
                probe.name: probe_publisher(
                    address, port, made.garden.slug, probe.name, instants_per_pack=STEPS_PER_HOUR
                )
                for probe in self._simulation.probes
            }
            try:
                for publisher in publishers.values():
                    publisher.connect()
                self._play(host, made, viewer, publishers)
                unreceipted = self._finish(host, viewer, publishers)
            finally:
                for publisher in publishers.values():
                    publisher.close()
        return Played(
            settings,
            made.garden,
            self._at_ms,
            self._sent,
            self._stored,
            unreceipted,
            time.monotonic() - self._began_s,
            self._first_notice_s,
            pages.address,
        )

    def _set_up(self, settings: Settings) -> SetUp:
        store = Store.open(settings.store_url)
        try:
            made = set_up(store, self._simulation.start_s * 1000)
        finally:
            store.close()
        self._screen.say(
            f"“{made.garden.name}”, a garden that does not exist: {len(made.trays)} trays in "
            f"{len(made.mixes)} mixes, {len(self._simulation.probes)} probes, everything sown."
        )
        return made

    def _play(self, host: Host, made: SetUp, viewer: Viewer, publishers: dict[str, ProbePublisher]) -> None:
        """Every probe measures at each step and sends each hour, if it is in reach; then the host has a turn.

        Sent on and on, fourteen days would be stored before anybody looks, and be told as what came and went.
        """
        kept: dict[str, list[Reading]] = {name: [] for name in publishers}
        host.watch.judge_all()
        while not self._simulation.ended:
            tick, measured = self._simulation.step()
            self._at_ms = tick.time_ms
            for one in measured:
                kept[one.probe] += one.readings
            deeds = [d for d in self._gardener.come_by(tick, self._simulation.hour_h) if d.told]
            if deeds:
                with host.store.write() as tx:
                    for deed in deeds:
                        write_deed(tx, made, deed, tick.time_ms)
            if tick.number % STEPS_PER_HOUR == 0 or self._simulation.ended:
                self._send(measured, kept, publishers)
                host.check()
                self._await_stored(publishers)
                host.keep_up()
                self._pace(tick.since_start_h, viewer)

    def _send(
        self, measured: list[Sent], kept: dict[str, list[Reading]], publishers: dict[str, ProbePublisher]
    ) -> None:
        for one in measured:
            if one.in_reach:
                publishers[one.probe].wait_below(_MOST_HELD, _DRAIN_S)
                publishers[one.probe].send(kept[one.probe])
                self._sent += len(kept[one.probe])
                kept[one.probe] = []

    def _await_stored(self, publishers: dict[str, ProbePublisher]) -> None:
        """Until the host has what was sent; what it refuses it will never have, and is receipted."""
        until_s = time.monotonic() + _STORED_S
        while self._stored < self._sent and time.monotonic() < until_s:
            if not any(publisher.unreceipted for publisher in publishers.values()):
                return
            time.sleep(_LOOK_S)

    def _pace(self, since_start_h: float, viewer: Viewer) -> None:
        """Wait until this hour's turn, showing the garden meanwhile."""
        due_s = self._began_s + (since_start_h / self._hours_per_s if self._hours_per_s else 0.0)
        while True:
            now_s = time.monotonic()
            if now_s - self._shown_s >= _SHOW_EVERY_S:
                self._show(viewer)
            if now_s >= due_s:
                return
            time.sleep(min(due_s - now_s, _SHOW_EVERY_S))

    def _show(self, viewer: Viewer) -> None:
        view = viewer.look(self._at_ms, self._stored)
        if view.told and self._first_notice_s is None:
            self._first_notice_s = time.monotonic() - self._began_s
        self._screen.show(view)
        self._shown_s = time.monotonic()

    def _finish(self, host: Host, viewer: Viewer, publishers: dict[str, ProbePublisher]) -> int:
        for publisher in publishers.values():
            publisher.drain(_DRAIN_S)
        # What came up last waits for others in the same place: nothing more is measured that would end that.
        host.clock.observe(self._at_ms + round(1000 * host.settings["notices.gather_s"]))
        host.keep_up()
        self._await(lambda: self._told(host), viewer, _TOLD_S)
        self._show(viewer)
        return sum(publisher.unreceipted for publisher in publishers.values())

    def _told(self, host: Host) -> bool:
        """Whether every notice is out that may be."""
        host.check()
        with host.store.read() as tx:
            return not notice_store.in_states(tx, NoticeState.WAITING)

    def _await(self, done: Callable[[], bool], viewer: Viewer, most_s: float) -> None:
        until_s = time.monotonic() + most_s
        while not done() and time.monotonic() < until_s:
            self._show(viewer)
            time.sleep(_SHOW_EVERY_S)

    def _committed(self, committed: Committed) -> None:
        self._stored += committed.rows

    def _say_little(self, sentence: str) -> None:
        """The host's troubles. Its notices come this way too, in several lines: they are shown otherwise."""
        if "\n" not in sentence:
            self._screen.say(sentence)
