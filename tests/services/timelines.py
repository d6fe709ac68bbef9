"""A garden on a driven clock: something is measured at every step, and every message is written down."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from tests.services.watched_garden import DAY_MS, HOUR_MS, MINUTE_MS, START_MS, WatchedGarden, settings_with
from traywarden.domain.episodes import RuleState
from traywarden.domain.garden import PlaceKind
from traywarden.domain.journal import Kind
from traywarden.domain.notices import Notice
from traywarden.domain.readings import Reading
from traywarden.domain.rules import Answer
from traywarden.services.asking.round import Vitals
from traywarden.services.asking.standing import ROWS
from traywarden.services.judging import standing_rules
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.episodes import Key
from traywarden.store.store import Store

STEP_MS = 10 * MINUTE_MS
QUARTER_MS, HALF_HOUR_MS = HOUR_MS // 4, HOUR_MS // 2
Told = tuple[str, str]
"""Rule and change of one message."""


WELL = Vitals(free_mb=9000.0, broker_gone_s=0.0, broker="b:1883", commit_s=0.01)


@dataclass(frozen=True)
class World:
    """What the sensors and the host see from now on."""

    moisture_m3_m3: float | None = 0.40
    other_m3_m3: float | None = None  # of a second head in tray A, where there is one
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
Weather = World | Callable[[int], World]
"""The same world all the time, or one for every moment [ms since 1970]."""


def world_at(weather: Weather, at_ms: int) -> World:
    return weather(at_ms) if callable(weather) else weather


def nothing(line: "Line") -> None:
    """Nothing need be done."""


@dataclass
class Line:
    """Tray A of tomato in a cold frame, probe A in it and its air sensor beside it; a second in the open."""

    store: Store
    settings: dict[str, Any] = field(default_factory=dict)
    start_ms: int = START_MS
    sown_d: int = 1
    step_ms: int = STEP_MS
    every_ms: int = 0
    """What is measured within a step, and sent at the time; 0: at its end only."""
    deed: Callable[["Line"], None] = nothing
    """What is done at the beginning of every step."""

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
        self.begin()

    def begin(self) -> None:
        """The host starts."""
        self.garden.watch.judge_all()

    def step(self, weather: Weather) -> None:
        """One step of the clock: measure, judge, ask, let go, deliver."""
        self.deed(self)
        first_ms = self.at_ms + (self.every_ms or self.step_ms)
        self.at_ms += self.step_ms
        self.garden.clock.ms = self.at_ms
        self.garden.vitals = world_at(weather, self.at_ms).vitals
        if world_at(weather, self.at_ms).sending:
            times_ms = range(first_ms, self.at_ms + 1, self.every_ms or self.step_ms)
            self.measure_all(times_ms, weather, sent_then=True)
            self.judge(first_ms)
        self.look()

    def judge(self, first_ms: int) -> None:
        """What follows a commit."""
        self.garden.watch.judge([self.tray_id], {self.tray_id: first_ms})

    def look(self) -> None:
        self.garden.watch.ask()
        self.garden.watch.tick()
        for notice in self.garden.deliver_all():
            self.hear(notice)

    def hear(self, notice: Notice) -> None:
        told = [(named.split(":")[0], kind.value) for named, kind in notice.changes]
        self.said += dict.fromkeys(told)  # two probes in one notice are told once
        self.bodies.append(f"{notice.title}\n{notice.body}")

    def run(self, weather: Weather, hours: float, step_ms: int = 0) -> None:
        usual_ms, self.step_ms = self.step_ms, step_ms or self.step_ms
        for _ in range(round(hours * HOUR_MS / self.step_ms)):
            self.step(weather)
        self.step_ms = usual_ms

    def restart(self) -> None:
        """The host dies and comes back."""
        self.garden.watch = self.garden.new_watch()
        self.garden.watch.judge_all()

    def measure(self, at_ms: int, world: World) -> None:
        self.measure_all([at_ms], world)

    def measure_all(self, at_ms: Iterable[int], weather: Weather, *, sent_then: bool = False) -> None:
        """Store what was measured at these times, which comes in now, or did so at the time."""
        rows: list[Reading] = []
        for each_ms in at_ms:
            got_ms = each_ms if sent_then else self.garden.clock.ms
            rows += self._measured(each_ms, got_ms, world_at(weather, each_ms))
        self.take_in(rows)

    def take_in(self, rows: list[Reading]) -> None:
        with self.store.write() as tx:
            reading_store.insert(tx, rows)

    def _measured(self, at_ms: int, got_ms: int, world: World) -> list[Reading]:
        self._sequence += 1
        mine = Reading("probe-a", 1, 1, self._sequence, at_ms, got_ms)
        inside = mine._replace(soil_temp_c=world.soil_c, battery_v=world.battery_v, extra=world.extra)
        found = [
            inside._replace(moisture_m3_m3=world.moisture_m3_m3),
            mine._replace(head=0, air_temp_c=world.air_c),
            mine._replace(probe="probe-o", head=0, air_temp_c=world.open_air_c, rain_mm=world.rain_mm),
        ]
        if world.other_m3_m3 is not None:
            found.append(mine._replace(head=2, soil_temp_c=world.soil_c, moisture_m3_m3=world.other_m3_m3))
        return found

    def second_head(self, end: str) -> None:
        """A second head of probe A at one end of the tray, since it was filled; the first is at the other."""
        at = self.start_ms - self.sown_d * DAY_MS
        with self.store.write() as tx:
            ((_, head_id),) = probe_store.ensure_heads(tx, [("probe-a", 2)], at).items()
            journal_store.write(
                tx, Kind.HEAD_PLACED, at, at, head_id=head_id, tray_id=self.tray_id, data={"end": end}
            )

    def write(self, kind: Kind, at_ms: int, **more: Any) -> None:
        with self.store.write() as tx:
            journal_store.write(tx, kind, at_ms, self.garden.clock.ms, **more)

    def of(self, rule: str) -> list[str]:
        """What was told of one rule, in order."""
        return [kind for told, kind in self.said if told == rule]

    def states(self) -> Mapping[Key, RuleState]:
        return self.garden.watch.answers()

    def answers(self, rule: str) -> set[Answer]:
        """What the rule says now wherever it is open."""
        standing = self.states().items()
        return {s.answer for (name, _), s in standing if name == rule and s.open_since_ms is not None}


CASES = ("opening", "closing", "chatter", "gap", "late data", "restart in the middle")


@dataclass(frozen=True)
class Scenario:
    """How the world makes one rule hold, waver about its level, and end.

    `no` before, `over` after it held (the same, if not given). `wavers`: worlds gone through again and again
    while it holds, in which its answer must change, unless `steady` says why it cannot. `dim`: what it cannot
    see any more. `begins`, `ends`: what is done before it holds and before it is over; `deed`: at every step.
    `known`: nobody is told of the end, as whoever did that knows.
    `late`: what is told of it where it was over when its readings came in. `says`: words of its notice.
    `also`: other rules that this world rightly brings with it. `cannot`: cases that cannot exist, each with
    the reason; `own`: cases with a test of their own. `coarse_ms`: steps where nothing is looked at closely.
    """

    rule: str
    yes: Weather
    no: Weather = CALM
    over: Weather | None = None
    wavers: tuple[Weather, ...] = ()
    waver_steps: int = 6
    waver_ms: int | None = None
    dim: Weather | None = SILENT
    lead_h: float = 0.5
    opens_h: float = 2.0
    dim_h: float = 3.0
    closes_h: float = 2.0
    known: bool = False
    late: tuple[str, ...] | None = None
    late_lead_h: float | None = None
    late_h: float | None = None  # how long nothing comes in; without it as long as it takes to open and close
    steady: str = ""
    settings: Mapping[str, Any] = field(default_factory=dict)
    prepare: Callable[[Line], None] = nothing
    begins: Callable[[Line], None] = nothing
    ends: Callable[[Line], None] = nothing
    deed: Callable[[Line], None] = nothing
    start_ms: int = START_MS
    sown_d: int = 1
    step_ms: int = QUARTER_MS
    every_ms: int = 0
    coarse_ms: int = 0
    says: tuple[str, ...] = ()
    also: frozenset[str] = frozenset()
    cannot: Mapping[str, str] = field(default_factory=dict)
    own: Mapping[str, str] = field(default_factory=dict)

    def __str__(self) -> str:
        return self.rule

    @property
    def after(self) -> Weather:
        return self.no if self.over is None else self.over

    @property
    def silent_ms(self) -> int:
        """A step while nothing comes in."""
        return self.coarse_ms or max(self.step_ms, HOUR_MS)

    @property
    def told_once(self) -> bool:
        """Whether nobody is told of its end, as it is told once alone."""
        at_readings = {rule.name for rule in standing_rules(settings_with()) if rule.told_once}
        return self.rule in at_readings or any(name == self.rule and once for name, *_, once, _ in ROWS)

    @property
    def played(self) -> set[str]:
        """The cases that its timelines go through."""
        found = {"opening", "closing", "restart in the middle"}
        if self.wavers:
            found.add("chatter")
        if self.dim is not None:
            found.add("gap")
        if self.late is not None:
            found.add("late data")
        return found


def live_through(line: Line, of: Scenario) -> None:
    """It opens once, whatever wavers, stays open while blind and over a restart, and ends once."""
    line.run(of.no, of.lead_h, of.coarse_ms)
    assert line.said == [], f"nothing is the matter yet: {line.bodies}"
    of.begins(line)
    line.run(of.yes, of.opens_h)
    assert line.of(of.rule) == ["opened"]
    told = " ".join(line.bodies)
    assert [part for part in of.says if part not in told] == [], told
    waver(line, of)
    line.restart()
    line.step(of.yes)
    if of.dim is not None:
        line.run(of.dim, of.dim_h, of.silent_ms)
        line.step(of.yes)
    assert line.of(of.rule) == ["opened"], "told once, through chatter, gap and restart"
    of.ends(line)
    line.run(of.after, of.closes_h, of.coarse_ms)
    assert line.of(of.rule) == ["opened", "closed"][: 1 if of.told_once or of.known else 2]
    assert unexpected(line, of, "quiet") == [], line.bodies
    mine = line.garden.episodes(of.rule)
    assert mine
    assert [e for e in mine if e.closed_ms is None] == []


def waver(line: Line, of: Scenario) -> None:
    seen: set[Answer] = set()
    usual_ms, line.step_ms = line.step_ms, of.waver_ms or line.step_ms
    for number in range(of.waver_steps if of.wavers else 0):
        line.step(of.wavers[number % len(of.wavers)])
        seen |= line.answers(of.rule)
    line.step_ms = usual_ms
    assert line.of(of.rule) == ["opened"], "nothing is told of what wavers"
    if of.wavers and not of.steady:
        assert len(seen) > 1, f"it wavered not: {seen}"


def come_late(line: Line, of: Scenario) -> None:
    """It was over when its readings came in: at most one digest, and that only of rules asked at readings."""
    line.run(of.no, of.lead_h if of.late_lead_h is None else of.late_lead_h)
    of.begins(line)
    hours = of.late_h or of.opens_h + of.closes_h + 1
    first_ms, step_ms = line.at_ms, of.every_ms or of.step_ms
    line.run(SILENT, hours, of.silent_ms)
    of.ends(line)
    turn_ms = first_ms + round((of.opens_h + 0.5) * HOUR_MS)
    line.measure_all(
        range(first_ms + step_ms, line.at_ms + 1, step_ms),
        lambda at_ms: world_at(of.yes if at_ms <= turn_ms else of.after, at_ms),
    )
    line.run(of.after, max(1.5, of.step_ms / HOUR_MS))
    assert tuple(line.of(of.rule)) == of.late, line.bodies
    assert unexpected(line, of, "quiet") == [], line.bodies


def come_late_and_hold(line: Line, of: Scenario) -> None:
    """It began while nothing came in, and holds still when its readings do: told once."""
    line.run(of.no, of.lead_h, of.coarse_ms)
    of.begins(line)
    first_ms, step_ms = line.at_ms, of.every_ms or of.step_ms
    line.run(SILENT, max(of.opens_h, 2.0), of.silent_ms)
    line.measure_all(range(first_ms + step_ms, line.at_ms + 1, step_ms), of.yes)
    line.run(of.yes, max(2 * of.step_ms / HOUR_MS, min(of.opens_h, 3.0)))
    assert line.of(of.rule) == ["opened"], line.bodies
    assert unexpected(line, of, "quiet") == [], line.bodies


def unexpected(line: Line, of: Scenario, *more: str) -> list[Told]:
    known = {of.rule, *of.also, *more}
    return [told for told in line.said if told[0] not in known]
