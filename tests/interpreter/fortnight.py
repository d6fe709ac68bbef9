"""A fortnight in the life of some probes: each wake on the genuine interpreter, the time between for free.

What a probe measures says when it was measured: each wake has a number of its own that its air temperature
and humidity spell. So every reading in the host's store is held to the true time of its wake, whatever the
probe and the host made of it on the way.
"""

import binascii
import heapq
import math
import random
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tests.interpreter.node import Node, packed, unpacked
from tests.interpreter.probes import BENCH, settings

MINUTE_MS, HOUR_MS, DAY_MS = 60_000, 3_600_000, 86_400_000
HOSTS = {"time.example": "192.0.2.5", "broker.example": "127.0.0.1"}
ON_AIR_MS, WIFI_MS, NTP_MS = 1_000, 700, 3_000
"""From waking to joining the network; for joining it; for a time server that is silent."""
PACE = 0.1
"""A host that answers does so in milliseconds; what never answers need not be waited for so long."""
_PER_TEMPERATURE = 400
_RH_STEP, _TEMP_STEP = 0.2, 0.5


def spelled(number: int) -> list[int]:
    """The raw words of an SHT4x that spell the number of a wake."""
    rh_pct = 10 + _RH_STEP * (number % _PER_TEMPERATURE)
    temp_c = 5 + _TEMP_STEP * (number // _PER_TEMPERATURE)
    return [round((temp_c + 45) / 175 * 65535), round((rh_pct + 6) / 125 * 65535)]


def number_of(temp_c: float, rh_pct: float) -> int:
    """The number that a reading spells."""
    return round((temp_c - 5) / _TEMP_STEP) * _PER_TEMPERATURE + round((rh_pct - 10) / _RH_STEP)


def spooled(flash: dict[str, bytes]) -> list[int]:
    """The numbers of the wakes whose readings lie whole in the spool's files, read by the format alone."""
    found = []
    for path, data in flash.items():
        if not path.endswith(".log"):
            continue
        at = 0
        while at + 10 <= len(data):
            (length,) = struct.unpack_from("<H", data, at)
            entry, crc = data[at : at + 6 + length], data[at + 6 + length : at + 10 + length]
            if len(crc) < 4 or struct.pack("<I", binascii.crc32(entry)) != crc:
                break
            count = entry[7]
            values = dict(struct.iter_unpack("<Bf", entry[6 + struct.calcsize("<BBBIIQQ") :]))
            assert len(values) == count
            if 3 in values and 4 in values:  # head 0: air temperature, relative humidity
                found.append(number_of(values[3], values[4]))
            at += 10 + length
    return found


@dataclass
class Outage:
    """From when to when what does not work, and how it fails."""

    start_ms: int
    end_ms: int
    script: dict[str, str]

    def holds(self, now_ms: int) -> bool:
        return self.start_ms <= now_ms < self.end_ms


@dataclass
class Probe:
    """One probe: its board, its clock's rate, and what became of its wakes."""

    name: str
    board: str
    rate: float
    outages: list[Outage] = field(default_factory=list)
    measured_ms: list[int] = field(default_factory=list)
    """When each wake truly was, by its number."""
    reached: set[int] = field(default_factory=set)
    """Numbers of wakes whose readings were seen in the spool."""
    lives: list[int] = field(default_factory=list)
    """Which life without a loss of power each wake was in: so many losses before it."""
    heard_ms: list[list[int]] = field(default_factory=lambda: [[]])
    """For each life, when it heard what time it is, from a time server or from the host, and could keep it:
    the power did not go in that wake."""
    cuts: int = 0
    longest_ms: float = 0.0
    awake_ms: float = 0.0
    radio_ms: float = 0.0

    def rate_at(self, now_ms: int) -> float:
        """How fast its clock runs: up to 5 % wrong, and 0.01 % up and down with the day's warmth."""
        return self.rate * (1 + 0.0001 * math.sin(2 * math.pi * now_ms / DAY_MS))

    def from_sync_ms(self, number: int) -> int | None:
        """How far a wake was from the nearest time that its life heard; None where that heard none, or where
        it lies between two such times: 0."""
        heard_ms, at_ms = self.heard_ms[self.lives[number]], self.measured_ms[number]
        if not heard_ms:
            return None
        return max(0, heard_ms[0] - at_ms, at_ms - heard_ms[-1])

    def loses_power(self) -> None:
        self.cuts += 1
        self.heard_ms.append([])


class Lives:
    """Wakes of probes on their boards, and what became of them."""

    def __init__(self, node: Node, at: Callable[[int, int], None]) -> None:
        """`at` is told what time it is before each wake, and how much later the probe is on the air."""
        self.node, self.at = node, at
        self.troubles: list[str] = []

    def begin(self, name: str, board: str, rate: float, port: int, **more: Any) -> Probe:
        """A probe fresh from the bench, with its settings."""
        files = {"/settings.json": settings(name, port, **more)}
        self.node.order("board", board=board, flash=packed(files))
        return Probe(name, board, rate)

    def bench(self, probe: Probe, now_ms: int) -> dict[str, Any]:
        """The script of a wake in which everything works."""
        return {
            "now_ms": now_ms,
            "rate": probe.rate_at(now_ms),
            "hosts": HOSTS,
            "pace": PACE,
            "bench": BENCH | {"i2c": {"sht4x": spelled(len(probe.measured_ms))}},
        }

    def wake(self, probe: Probe, script: dict[str, Any]) -> tuple[int, int | None]:
        """One wake: when it was over, and when the next one is; None when the power was cut."""
        now_ms: int = script["now_ms"]
        silent_ms = NTP_MS if script.get("ntp") == "silent" else 0
        self.at(now_ms, ON_AIR_MS + script.get("wifi_ms", WIFI_MS) + silent_ms)
        answer = self.node.wake(probe.board, script)
        probe.measured_ms.append(now_ms)
        probe.lives.append(len(probe.heard_ms) - 1)
        if answer["flash"] is not None:
            flash = unpacked(answer["flash"])
            probe.reached |= set(spooled(flash))
            if "/mishap.txt" in flash:
                self.troubles.append(f"{probe.name}: {flash['/mishap.txt'].decode()}")
        if answer["heard_time"] and answer["ended"] != "power cut":
            probe.heard_ms[-1].append(now_ms)
        probe.awake_ms += answer["awake_ms"]
        probe.radio_ms += answer["radio_ms"]
        probe.longest_ms = max(probe.longest_ms, answer["awake_ms"])
        over_ms: int = now_ms + round(answer["awake_ms"])
        if answer["ended"] == "power cut":
            probe.loses_power()
            return over_ms, None
        if answer["ended"] != "deep sleep":
            self.troubles.append(f"{probe.name}: {answer['ended']} {answer['error']}")
        return over_ms, over_ms + round(answer["sleep_ms"] / probe.rate_at(now_ms))

    def lose_power(self, probe: Probe, until_ms: int) -> None:
        """While it sleeps."""
        self.node.order("board", board=probe.board, power_lost_ms=until_ms)
        probe.loses_power()


class Fortnight(Lives):
    """Wakes in order of time, until all the time is over and every spool is empty."""

    def __init__(
        self,
        node: Node,
        port: int,
        probes: int,
        wakes: int,
        start_ms: int,
        seed: int,
        at: Callable[[int, int], None],
        stored: Callable[[str], set[int]],
        **more: Any,
    ) -> None:
        """`stored` knows what the host has of a probe."""
        super().__init__(node, at)
        self.start_ms, self.stored = start_ms, stored
        self.random = random.Random(seed)
        self.end_ms = start_ms + wakes * 10 * MINUTE_MS
        self.broken = self._outages([{"broker": "refused"}, {"broker": "silent"}, {"dns": "silent"}], 5)
        self.probes = [self._probe(number, port, more) for number in range(probes)]

    def _probe(self, number: int, port: int, more: dict[str, Any]) -> Probe:
        rate = [0.95, 1.05, 1.02, 0.98][number % 4]
        outages = self._outages([{"wifi": "silent"}, {"wifi": "refused"}, {"ntp": "silent"}], 6)
        if number == 0:  # it has no time to begin with, and none again after its battery was changed
            span_ms = (self.end_ms - self.start_ms) // 14
            outages += [
                Outage(self.start_ms, self.start_ms + span_ms, {"ntp": "silent"}),
                Outage(self.start_ms + 7 * span_ms, self.start_ms + 8 * span_ms, {"ntp": "silent"}),
            ]
        probe = self.begin(f"probe-{number + 1}", f"f412fa00000{number + 1}", rate, port, **more)
        probe.outages = outages
        return probe

    def _outages(self, kinds: list[dict[str, str]], count: int) -> list[Outage]:
        """From minutes to days (of a fortnight: shorter when the whole is)."""
        made = []
        for _ in range(count):
            longest = (self.end_ms - self.start_ms) / (2 * DAY_MS) * 3 / 7
            length_ms = int(min(10 ** self.random.uniform(0.5, 3.6), longest * 1440) * MINUTE_MS)
            begin_ms = self.random.randrange(self.start_ms, self.end_ms)
            made.append(Outage(begin_ms, min(begin_ms + length_ms, self.end_ms), self.random.choice(kinds)))
        return made

    def run(self) -> None:
        queue = [(self.start_ms + n * 137_000, n) for n in range(len(self.probes))]
        heapq.heapify(queue)
        while queue:
            now_ms, index = heapq.heappop(queue)
            probe = self.probes[index]
            over_ms, next_ms = self.wake(probe, self._script(probe, now_ms))
            if next_ms is None:
                next_ms = over_ms + self._without_power_ms()
            elif now_ms < self.end_ms and self.random.random() < 0.002:  # its battery is changed
                next_ms = over_ms + self._without_power_ms()
                self.lose_power(probe, next_ms)
            if now_ms < self.end_ms or (self._waiting(probe) and now_ms < self.end_ms + 3 * DAY_MS):
                heapq.heappush(queue, (next_ms, index))

    def _waiting(self, probe: Probe) -> bool:
        return bool(probe.reached - self.stored(probe.name))

    def _script(self, probe: Probe, now_ms: int) -> dict[str, Any]:
        script = self.bench(probe, now_ms) | {
            "wifi_ms": self.random.randrange(400, 3000),
            "ntp_out_ms": self.random.randrange(-200, 200),
        }
        for outage in self.broken + probe.outages:
            if outage.holds(now_ms):
                script |= outage.script
        if now_ms >= self.end_ms:
            return script
        if self.random.random() < 0.05:
            script["replies_after"] = self.random.randrange(0, 120)
        elif self.random.random() < 0.03:
            script["tear_after"] = self.random.randrange(1, 6000)
        if self.random.random() < 0.03:
            what, most = self.random.choice([("bytes", 600), ("changes", 6), ("calls", 3000)])
            script["cut"] = {what: self.random.randrange(1, most), "unsynced": self.random.random() < 0.5}
        return script

    def _without_power_ms(self) -> int:
        return int(10 ** self.random.uniform(0, 2) * MINUTE_MS)
