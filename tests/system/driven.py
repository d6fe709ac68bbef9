"""The real host in a process of its own, on a clock that the test drives.

What is not the host's own: its clock, how much room its disk has and how long that takes. The watch's two
threads go on when they are told to, first the one that judges, then the one that asks by the clock.
"""

import mmap
import time
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.links.mail_and_web import Hook
from tests.services.timelines import Line
from tests.system.brokers import free_port
from tests.system.hosts import HostProcess, Nursery, bare_home
from traywarden.domain.episodes import RuleState
from traywarden.domain.notices import Notice, NoticeState
from traywarden.domain.readings import Reading
from traywarden.links.publisher import ProbePublisher
from traywarden.services.publishing import probe_publisher
from traywarden.settings import Settings
from traywarden.store import episodes as episode_store
from traywarden.store.episodes import Key
from traywarden.store.store import Store

SLOTS = ("now_ms", "set_by_ms", "free_kb", "commit_ms", "judge", "judged", "ask", "asked", "busy", "keep")
UNKNOWN = -1
WAIT_S = 60.0
DRIVEN = f"""
import mmap, sys, time
from types import SimpleNamespace
from pathlib import Path
from traywarden.links import broker, mqtt
from traywarden.services import clock, host, ingest, vitals, watch
from traywarden.services.asking import asker
_file = open(Path(sys.argv[2]) / "clock", "r+b")
_slots = memoryview(mmap.mmap(_file.fileno(), 0)).cast("q")
_at = {{name: place for place, name in enumerate({SLOTS!r})}}
def _get(name): return _slots[_at[name]]
def _set(name, value): _slots[_at[name]] = value
def _now_ms(): return _get("now_ms")
def _monotonic_s(): return (_get("now_ms") - _get("set_by_ms")) / 1000
_time = SimpleNamespace(time_ns=lambda: _now_ms() * 1_000_000, monotonic=_monotonic_s, sleep=time.sleep)
broker.time = mqtt.time = _time
clock.SystemClock.now_ms = lambda self: _now_ms()
watch.Watch.__init__.__kwdefaults__.update(monotonic_s=_monotonic_s, system_ms=_now_ms)
def disk_usage(home):
    if _get("free_kb") < 0:
        raise OSError("the disk does not say")
    return SimpleNamespace(free=_get("free_kb") * 1000)
vitals.shutil = SimpleNamespace(disk_usage=disk_usage)
ingest.Ingest.takes_s = property(lambda self: None if _get("commit_ms") < 0 else _get("commit_ms") / 1000)
watch.TICK_S = asker.TICK_S = 0.01
host._SETTLED_S = 0.01
_settle, _round, _tick, _ask = ingest.Ingest._settle, watch.Watch._round, watch.Watch.tick, asker.Asker.ask
def settle(self, batch):
    _set("busy", 1)
    _settle(self, batch)
    _set("busy", 0)
def round_(self):
    self._told = _get("judged") if _get("busy") else _get("judge")
    _round(self)
def tick(self):
    if self._told != _get("judged"):  # not while the clock is being put on
        _tick(self)
        if _get("keep"):
            with self._judging:
                self._keep_states()
            _set("keep", 0)
        _set("judged", self._told)
def ask(self, now_ms):
    told = _get("ask")
    if told != _get("asked") or not self._paced._asked_ms:
        _ask(self, _now_ms())
        _set("asked", told)
ingest.Ingest._settle = settle
watch.Watch._round, watch.Watch.tick = round_, tick
asker.Asker.ask = ask
"""


class Slots:
    """A few numbers that the host and the test share through a file."""

    def __init__(self, path: Path) -> None:
        path.write_bytes(bytes(8 * len(SLOTS)))
        self._file = path.open("r+b")
        self._map = mmap.mmap(self._file.fileno(), 0)
        self._view = memoryview(self._map).cast("q")

    def __getitem__(self, name: str) -> int:
        return int(self._view[SLOTS.index(name)])

    def __setitem__(self, name: str, value: int) -> None:
        self._view[SLOTS.index(name)] = value

    def close(self) -> None:
        self._view.release()
        self._map.close()
        self._file.close()


def until(holds: Callable[[], object], what: Callable[[], str]) -> None:
    deadline_s, rest_s = time.monotonic() + WAIT_S, 0.001
    while not holds():
        assert time.monotonic() < deadline_s, what()
        time.sleep(rest_s)


@dataclass
class Stage:
    """Where the host of a test lives: its home, what it is forked from, and the web server it tells."""

    home: Path
    nursery: Nursery
    hook: Hook
    stack: ExitStack
    settings: Settings = field(init=False)
    port: int = field(default_factory=free_port)

    def store(self, chosen: Mapping[str, Any]) -> Store:
        """A home with these settings; its store."""
        quick = {"notices__console": False, "notices__remind_after_s": 0.0, "broker__port": self.port}
        self.settings = bare_home(self.home, **quick, **chosen)
        with (self.home / "settings.toml").open("a", encoding="utf-8") as file:
            file.write(f'[[channel]]\nname = "hook"\nurl = "{self.hook.url()}"\n')
        return self.stack.enter_context(Store.open(self.settings.store_url))


class ProcessLine(Line):
    """A garden on a driven clock whose host is a process, its readings come over MQTT, its notices go out."""

    stage: Stage

    def begin(self) -> None:
        """Nothing yet: the host starts with the first step, when the past is written."""
        self._slots = Slots(self.stage.home / "clock")
        self.stage.stack.callback(self._slots.close)
        self._host = HostProcess(self.stage.home, nursery=self.stage.nursery, before=DRIVEN)
        self._probes: dict[str, ProbePublisher] = {}
        self._runs = False
        self._heard: set[str] = set()
        self.stage.stack.callback(self._stop)

    def _start(self) -> None:
        self._host.start()
        self._runs = True
        for name in ("probe-a", "probe-o"):
            probe = probe_publisher("127.0.0.1", self.stage.port, "test", name, instants_per_pack=48)
            probe.connect()
            self._probes[name] = probe

    def _stop(self) -> None:
        for probe in self._probes.values():
            probe.close()
        self._probes.clear()
        if self._runs:
            self._host.kill()
            self._runs = False

    def restart(self) -> None:
        """kill -9, and it comes back."""
        self._stop()
        self._start()
        self._turn("judge", "judged")

    def _turn(self, told: str, done: str) -> None:
        """Let one of the watch's threads go on, and wait until it has."""
        slots = self._slots
        slots[told] += 1
        until(
            lambda: slots[done] == slots[told] or self._host.code() is not None,
            lambda: f"{told}: {slots[told]}, {done}: {slots[done]}\n{self._host.said[-1500:]}",
        )
        assert self._host.code() is None, self._host.said[-1500:]

    def take_in(self, rows: list[Reading]) -> None:
        if not self._runs and rows and rows[-1].time_ms < self.start_ms:
            super().take_in(rows)
            return
        self._awake()
        for name, probe in self._probes.items():
            probe.send([row for row in rows if row.probe == name])
        for probe in self._probes.values():
            assert probe.drain(WAIT_S), probe.trouble

    def _awake(self) -> None:
        """The host runs, and sees the world as it is now."""
        slots, clock, vitals = self._slots, self.garden.clock, self.garden.vitals
        slots["now_ms"], slots["set_by_ms"] = clock.ms, clock.ms - round(clock.monotonic_s() * 1000)
        slots["free_kb"] = UNKNOWN if vitals.free_mb is None else round(vitals.free_mb * 1000)
        slots["commit_ms"] = UNKNOWN if vitals.commit_s is None else round(vitals.commit_s * 1000)
        if not self._runs:
            self._start()

    def judge(self, first_ms: int) -> None:
        self._turn("judge", "judged")

    def look(self) -> None:
        self._awake()
        self._turn("ask", "asked")
        self._turn("judge", "judged")
        until(
            lambda: not self._pending(),
            lambda: f"not delivered: {self._pending()}\n{self._host.said[-1500:]}",
        )
        for notice in self._gone_out():
            self.hear(notice)

    def _pending(self) -> list[Notice]:
        return self.garden.notices(NoticeState.WAITING)

    def _gone_out(self) -> list[Notice]:
        """What the web server was given since, once each."""
        sent = {n.notice_id: n for n in self.garden.notices(NoticeState.SENT)}
        got = [str(got["notice_id"]) for got in self.stage.hook.taken]
        fresh = [name for name in dict.fromkeys(got) if name not in self._heard]
        self._heard.update(fresh)
        return [sent[name] for name in fresh]

    def states(self) -> Mapping[Key, RuleState]:
        """As the host has them now, which it would else write down every so often."""
        self._slots["keep"] = 1
        self._turn("judge", "judged")
        with self.store.read() as tx:
            return {key: state for key, (state, _) in episode_store.rule_states(tx).items()}
