"""A garden whose clock the test drives, and shorthand to let its probes measure."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from traywarden.domain.episodes import Episode
from traywarden.domain.garden import PlaceKind
from traywarden.domain.journal import Kind
from traywarden.domain.notices import Notice, NoticeState
from traywarden.domain.readings import Reading
from traywarden.links.channels import Message
from traywarden.services.asking.round import Vitals
from traywarden.services.asking.standing import Asked
from traywarden.services.watch import Watch
from traywarden.settings import TABLE, Channel, Secret, Settings
from traywarden.store import episodes as episode_store
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import notices as notice_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.crops import load_crops
from traywarden.store.store import Store

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
START_MS = 1_772_344_800_000  # 2026-03-01T06:00Z
WET, DRY, JUST_ABOVE = 0.45, 0.20, 0.26  # m³/m³; dry line 0.25, closing level 0.2775, capacity 0.55
WARM_C, COLD_C = 20.0, 6.0  # °C; tomato's published minimum is 10 °C


class DrivenClock:
    """Now is what the test says; the monotonic clock goes with it, save where the clock is set anew."""

    def __init__(self, now_ms: int) -> None:
        self.ms = now_ms
        self._set_by_ms = 0

    def now_ms(self) -> int:
        return self.ms

    def observe(self, time_ms: int) -> None:
        pass

    def monotonic_s(self) -> float:
        return (self.ms - self._set_by_ms) / 1000.0

    def set_by(self, ms: int) -> None:
        """Somebody sets the clock: no time passes."""
        self.ms += ms
        self._set_by_ms += ms


@dataclass(frozen=True)
class Committed:
    head_times: Mapping[int, int]
    head_oldest: Mapping[int, int]
    at_s: float = math.inf


def settings_with(home: Any = None, channels: Sequence[Channel] = (), **values: Any) -> Settings:
    """Settings by default, some changed: `dry__open_delay_s=0`. Nothing waits for others nearby."""
    given = {row.key: row.kind(row.default) for row in TABLE} | {"notices.gather_s": 0.0}
    given |= {key.replace("__", ".", 1): value for key, value in values.items()}
    return Settings(home, given, tuple(channels))


def channel(name: str, least_severity: str = "info", digest: str = "at once") -> Channel:
    return Channel(name, Secret("json://localhost/"), least_severity, digest)


@dataclass
class WatchedGarden:
    """Trays A, B … each with one probe of its own, in one place and one mix, sown with tomato."""

    store: Store
    settings: Settings = field(default_factory=settings_with)
    trays: int = 1
    sown: bool = True
    paced: tuple[Asked, ...] | None = ()
    """The rules asked every so often; none, so that only readings tell anything. None: all there are."""
    vitals: Vitals = field(default_factory=Vitals)

    def __post_init__(self) -> None:
        self.clock = DrivenClock(START_MS)
        self.written = 0
        self.sequence = 0
        self.tray_ids: dict[str, int] = {}
        self.head_ids: dict[str, int] = {}
        with self.store.write() as tx:
            garden_store.set_garden(tx, "Test", "UTC", now_ms=START_MS)
            self.place = garden_store.add_place(tx, "open bench", PlaceKind.OPEN_BENCH)
            self.mix = garden_store.add_mix(tx, "peat", {"peat": 1}, 0.55, 0.25)
            for number in range(self.trays):
                self._add_tray(tx, chr(ord("A") + number))
        self.watch = self.new_watch()

    def _add_tray(self, tx: Any, name: str) -> None:
        tray_id = garden_store.add_tray(tx, name, litres=10.0).tray_id
        heads = probe_store.ensure_heads(tx, [(f"probe-{name.lower()}", 1)], START_MS)
        self.tray_ids[name] = tray_id
        self.head_ids[name] = next(iter(heads.values()))
        at = START_MS - DAY_MS
        journal_store.write(tx, Kind.FILLED, at, at, tray_id=tray_id, mix_id=self.mix.mix_id)
        journal_store.write(tx, Kind.MOVED, at, at, tray_id=tray_id, place_id=self.place.place_id)
        journal_store.write(tx, Kind.HEAD_PLACED, at, at, tray_id=tray_id, head_id=self.head_ids[name])
        if self.sown:
            journal_store.write(tx, Kind.SOWED, at, at, tray_id=tray_id, data={"crop": "tomato", "cells": 40})

    def new_watch(self) -> Watch:
        """A watch that knows nothing but the store: what a restart leaves."""

        def written() -> None:
            self.written += 1

        return Watch(
            self.store,
            self.settings,
            self.clock,
            load_crops(),
            after_write=written,
            monotonic_s=self.clock.monotonic_s,
            system_ms=self.clock.now_ms,
            paced=self.paced,
            vitals=lambda: self.vitals,
        )

    def write(self, kind: Kind, at_ms: int, tray: str = "A", **more: Any) -> int:
        with self.store.write() as tx:
            entry = journal_store.write(tx, kind, at_ms, self.clock.ms, tray_id=self.tray_ids[tray], **more)
        return entry.entry_id

    def measure(
        self, at_ms: int, moisture: float | None = WET, soil_c: float | None = WARM_C, tray: str = "A"
    ) -> None:
        """Store one reading; judging is another matter. The same instant again is a redelivery."""
        second = (at_ms - START_MS) // 1000 + 100_000_000
        row = Reading(
            f"probe-{tray.lower()}",
            1,
            1,
            second,
            at_ms,
            self.clock.ms,
            soil_temp_c=soil_c,
            moisture_m3_m3=moisture,
        )
        with self.store.write() as tx:
            reading_store.insert(tx, [row])

    def see(
        self,
        at_ms: int,
        moisture: float | None = WET,
        soil_c: float | None = WARM_C,
        tray: str = "A",
        *,
        now_ms: int | None = None,
    ) -> None:
        """Measure, move the clock there (or to `now_ms`), and judge: what a commit does."""
        self.clock.ms = max(self.clock.ms, at_ms if now_ms is None else now_ms)
        self.measure(at_ms, moisture, soil_c, tray)
        self.watch.judge([self.tray_ids[tray]], {self.tray_ids[tray]: at_ms})

    def run(self, start_ms: int, end_ms: int, step_ms: int = 10 * MINUTE_MS, **values: Any) -> int:
        """See a reading every step in [start, end); returns end."""
        for at_ms in range(start_ms, end_ms, step_ms):
            self.see(at_ms, **values)
        return end_ms

    def episodes(self, rule: str | None = None) -> list[Episode]:
        with self.store.read() as tx:
            return list(reversed(episode_store.episodes(tx, rule=rule)))

    def notices(self, *states: NoticeState) -> list[Notice]:
        with self.store.read() as tx:
            return notice_store.in_states(tx, *(states or tuple(NoticeState)))

    def deliver_all(self) -> list[Notice]:
        """Mark everything that waits as sent, as a channel that always works would."""
        waiting = self.notices(NoticeState.WAITING)
        with self.store.write() as tx:
            for notice in waiting:
                notice_store.mark_sent(tx, notice.notice_id, self.clock.ms)
        return waiting

    def kinds(self) -> list[list[str]]:
        """What each notice tells, oldest first."""
        return [[kind.value for _, kind in n.changes] for n in self.notices()]


class MemoryChannel:
    """Keeps what it is given; fails when told to."""

    def __init__(self, name: str = "console") -> None:
        self.name = name
        self.got: list[Message] = []
        self.fail: Exception | None = None

    def send(self, message: Message) -> None:
        if self.fail is not None:
            raise self.fail
        self.got.append(message)
