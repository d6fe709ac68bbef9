"""A garden on a driven clock: something is measured at every step, and every message is written down."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from tests.services.watched_garden import DAY_MS, HOUR_MS, MINUTE_MS, START_MS, WatchedGarden, settings_with
from traywarden.domain.garden import PlaceKind
from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.services.asking.round import Vitals
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Store

STEP_MS = 10 * MINUTE_MS
Told = tuple[str, str]
"""Rule and change of one message."""


WELL = Vitals(free_mb=9000.0, broker_gone_s=0.0, broker="b:1883", commit_s=0.01)


@dataclass(frozen=True)
class World:
    """What the sensors and the host see from now on."""

    moisture_m3_m3: float | None = 0.40
    soil_c: float | None = 20.0
    air_c: float = 18.0  # under the cover, where tray A stands
    open_air_c: float = 12.0
    battery_v: float | None = 3.9
    rain_mm: float | None = None
    sending: bool = True
    extra: str | None = None
    vitals: Vitals = WELL


CALM = World()
SILENT = replace(CALM, sending=False)


@dataclass
class Line:
    """Tray A of tomato in a cold frame, probe A in it and its air sensor beside it; a second in the open."""

    store: Store
    settings: dict[str, Any] = field(default_factory=dict)
    start_ms: int = START_MS
    sown_d: int = 1
    step_ms: int = STEP_MS

    def __post_init__(self) -> None:
        chosen = settings_with(**{"notices__remind_after_s": 0.0, **self.settings})
        self.garden = WatchedGarden(self.store, chosen, trays=1, sown=False, paced=None)
        self.at_ms = self.garden.clock.ms = self.start_ms
        self.said: list[Told] = []
        self.bodies: list[str] = []
        self._sequence = 0
        at = self.start_ms - self.sown_d * DAY_MS
        with self.store.write() as tx:
            self.frame = garden_store.add_place(tx, "frame", PlaceKind.COLD_FRAME)
            heads = probe_store.ensure_heads(tx, [("probe-a", 0), ("probe-o", 0)], at)
            self.tray_id = self.garden.tray_ids["A"]
            places = {("probe-a", 0): self.frame.place_id, ("probe-o", 0): self.garden.place.place_id}
            for who, head_id in heads.items():
                journal_store.write(tx, Kind.HEAD_PLACED, at, at, head_id=head_id, place_id=places[who])
            head_id = self.garden.head_ids["A"]
            more: dict[str, Any] = {"tray_id": self.tray_id}
            journal_store.write(tx, Kind.FILLED, at, at, mix_id=self.garden.mix.mix_id, **more)
            journal_store.write(tx, Kind.HEAD_PLACED, at, at, head_id=head_id, **more)
            journal_store.write(tx, Kind.MOVED, at, at, place_id=self.frame.place_id, **more)
            journal_store.write(tx, Kind.SOWED, at, at, data={"crop": "tomato", "cells": 40}, **more)
            # The garden itself has put it on the open bench, a day before it began.
            since = max(at, START_MS - DAY_MS + 1000)
            journal_store.write(tx, Kind.MOVED, since, since, place_id=self.frame.place_id, **more)
        self.garden.watch.judge_all()

    def step(self, world: World) -> None:
        """One step of the clock: measure, judge, ask, let go, deliver."""
        self.at_ms += self.step_ms
        self.garden.clock.ms = self.at_ms
        self.garden.vitals = world.vitals
        if world.sending:
            self.measure(self.at_ms, world)
            self.garden.watch.judge([self.tray_id], {self.tray_id: self.at_ms})
        self.look()

    def look(self) -> None:
        self.garden.watch.ask()
        self.garden.watch.tick()
        for notice in self.garden.deliver_all():
            told = [(named.split(":")[0], kind.value) for named, kind in notice.changes]
            self.said += dict.fromkeys(told)  # two probes in one notice are told once
            self.bodies.append(f"{notice.title}\n{notice.body}")

    def run(self, world: World, hours: float) -> None:
        for _ in range(round(hours * HOUR_MS / self.step_ms)):
            self.step(world)

    def restart(self) -> None:
        """The host dies and comes back."""
        self.garden.watch = self.garden.new_watch()
        self.garden.watch.judge_all()

    def measure(self, at_ms: int, world: World, received_ms: int | None = None) -> None:
        self._sequence += 1
        got = self.garden.clock.ms if received_ms is None else received_ms
        mine = Reading("probe-a", 1, 1, self._sequence, at_ms, got)
        rows = [
            mine._replace(
                soil_temp_c=world.soil_c,
                moisture_m3_m3=world.moisture_m3_m3,
                battery_v=world.battery_v,
                extra=world.extra,
            ),
            mine._replace(head=0, air_temp_c=world.air_c),
            mine._replace(probe="probe-o", head=0, air_temp_c=world.open_air_c, rain_mm=world.rain_mm),
        ]
        with self.store.write() as tx:
            reading_store.insert(tx, rows)

    def write(self, kind: Kind, at_ms: int, **more: Any) -> None:
        with self.store.write() as tx:
            journal_store.write(tx, kind, at_ms, self.garden.clock.ms, **more)

    def of(self, rule: str) -> list[str]:
        """What was told of one rule, in order."""
        return [kind for told, kind in self.said if told == rule]


@dataclass(frozen=True)
class Scenario:
    """How the world makes one rule hold, hang between its levels, and end.

    `also`: other rules that this world rightly brings with it. `dim`: what it cannot see any more.
    """

    rule: str
    yes: World
    hold: World | None
    no: World = CALM
    dim: World | None = SILENT
    opens_h: float = 2.0
    closes_h: float = 2.0
    settings: dict[str, Any] = field(default_factory=dict)
    prepare: Callable[[Line], None] = lambda line: None
    start_ms: int = START_MS
    sown_d: int = 1
    also: frozenset[str] = frozenset()
    ends: bool = True
    late: bool = False  # whether what came too late is told as past
