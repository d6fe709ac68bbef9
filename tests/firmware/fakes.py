"""What a probe stands among: flash that can be cut at any byte, RTC memory, a clock that drifts, sensors,
a radio and a broker that can fall silent."""

import json
from collections.abc import Callable
from typing import Any, Self

from probe import record, settings
from probe.cycle import wake
from probe.parts import Parts
from probe.state import WOKE
from traywarden.wire import packs

START_MS = 1_760_000_000_000
FROM_2000_MS = 946_684_800_000
"""A board's clock begins somewhere, at power-up: here at the year 2000."""


class PowerCut(BaseException):
    """Power is gone: no `except Exception` of the firmware sees it."""


class Flash:
    """A file system in memory. `cut_after`: power goes after that many more bytes and directory changes."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self.cut_after: int | None = None
        self.broken = False
        self.most_bytes: int | None = None
        self.written = 0

    def spend(self, cost: int) -> int:
        """How much of a change still gets through before the cut."""
        if self.cut_after is None:
            return cost
        done = min(cost, self.cut_after)
        self.cut_after -= done
        return done

    def change(self) -> None:
        """One directory change, whole or not at all."""
        if self.broken:
            raise OSError(5, "flash is broken")
        if self.spend(1) < 1:
            raise PowerCut

    def open(self, path: str, mode: str) -> "FlashFile":
        if mode == "rb" and (path not in self.files or self.broken):
            raise OSError(2, "no such file")
        if mode != "rb":
            self.change()
        if mode == "wb" or path not in self.files:
            self.files[path] = b""
        return FlashFile(self, path)

    def remove(self, path: str) -> None:
        if path not in self.files:
            raise OSError(2, "no such file")
        self.change()
        del self.files[path]

    def rename(self, old: str, new: str) -> None:
        if old not in self.files or new in self.files:
            raise OSError(17, "not there, or there already")
        self.change()
        self.files[new] = self.files.pop(old)

    def listdir(self, path: str) -> list[str]:
        if self.broken:
            raise OSError(5, "flash is broken")
        names = [name[len(path) + 1 :] for name in self.files if name.startswith(path + "/")]
        return [name for name in names if "/" not in name]

    def mkdir(self, path: str) -> None:
        if self.broken:
            raise OSError(5, "flash is broken")


class FlashFile:
    def __init__(self, flash: Flash, path: str) -> None:
        self._flash, self._path, self._at = flash, path, 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: object) -> None:
        return None

    def read(self, size: int = -1) -> bytes:
        data = self._flash.files[self._path][self._at :]
        data = data if size < 0 else data[:size]
        self._at += len(data)
        return data

    def seek(self, at: int) -> None:
        self._at = at

    def write(self, data: bytes) -> int:
        flash = self._flash
        if flash.broken:
            raise OSError(5, "flash is broken")
        room = len(data)
        if flash.most_bytes is not None:
            room = min(room, max(0, flash.most_bytes - sum(len(held) for held in flash.files.values())))
        done = flash.spend(room)
        flash.files[self._path] += bytes(data[:done])
        flash.written += done
        if done < room:
            raise PowerCut
        if room < len(data):
            raise OSError(28, "no room")
        return len(data)


class World:
    """True time, and what of the world works at the moment."""

    def __init__(self) -> None:
        self.now_ms = START_MS
        self.network_up = True
        self.ntp_up = True
        self.broker_up = True
        self.receipts_up = True
        self.host_tells_time = True
        self.told_time = 0
        """How often the probe was told what time it is."""
        self.ntp_out_ms: list[int] = []
        """How far out the time server's next answers are."""
        self.silent = False
        """Whatever is down keeps waiting to the end of its budget instead of refusing at once."""
        self.readings: dict[tuple[int, int], int] = {}
        self.doubled = 0
        self.sure: set[tuple[int, int]] = set()
        """Readings that came with a date the probe stands for."""
        self.states: list[dict[str, Any]] = []
        self.packs: list[bytes] = []
        self.retained_settings: bytes | None = None
        self.values: dict[tuple[int, str], float] = {
            (0, "battery"): 3.9,
            (1, "soil_temperature"): 12.5,
            (1, "moisture_voltage"): 1.75,
        }

    def refuse(self, budget_ms: int, why: str) -> None:
        self.now_ms += budget_ms if self.silent else 20
        raise OSError(why)


class Sensor:
    ready_ms = 750

    def __init__(self, world: World, name: str, keys: list[tuple[int, str]]) -> None:
        self.world, self.name, self.keys = world, name, keys
        self.fails: Exception | None = None

    def start(self) -> None:
        pass

    def read(self) -> dict[tuple[int, str], float]:
        if self.fails is not None:
            raise self.fails
        return {key: self.world.values[key] for key in self.keys if key in self.world.values}


class Network:
    def __init__(self, world: World) -> None:
        self.world = world
        self.ups = 0
        self.brown_out = False
        self.is_up = False

    def up(self, budget_ms: int) -> None:
        self.ups += 1
        if self.brown_out:
            raise PowerCut
        if not self.world.network_up:
            self.world.refuse(budget_ms, "no access point")
        self.world.now_ms += min(budget_ms, 1200)
        self.is_up = True

    def down(self) -> None:
        self.is_up = False

    def rssi(self) -> int:
        return -61


class Link:
    """The broker with the host behind it: takes packs in as the host does, and answers with receipts."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.inbox: list[tuple[str, bytes]] = []
        self.connected = False
        self.on_publish: Callable[[str], None] = lambda kind: None

    def connect(self, budget_ms: int) -> None:
        if not self.world.broker_up:
            self.world.refuse(budget_ms, "no broker")
        self.world.now_ms += 80
        self.connected = True
        self.inbox = []
        if self.world.retained_settings is not None:
            self.inbox.append(("settings", self.world.retained_settings))

    def publish(self, kind: str, payload: bytes, retain: bool, budget_ms: int) -> None:
        assert self.connected
        self.on_publish(kind)
        if not self.world.broker_up:
            self.world.refuse(budget_ms, "no acknowledgement")
        self.world.now_ms += 50
        if kind == "state":
            said = json.loads(payload)
            assert retain is ("asks_time" not in said)
            if retain:
                self.world.states.append(said)
            elif self.world.receipts_up and self.world.host_tells_time:
                self.world.told_time += 1
                answer = {"asked": said["asks_time"], "time_ms": self.world.now_ms}
                self.inbox.append(("receipt", json.dumps(answer).encode()))
            return
        self.world.packs.append(payload)
        self.store(payload)

    def store(self, payload: bytes) -> None:
        """As the host: keep what is new, answer through where nothing is missing."""
        world = self.world
        sure = b'"bt"' in payload and b"time_unsure" not in payload
        readings, info = packs.read_pack(payload, "probe", world.now_ms)
        for reading in {(r.boot, r.sequence): r for r in readings}.values():
            key = (reading.boot, reading.sequence)
            world.doubled += key in world.readings
            if key not in world.readings:
                world.readings[key] = reading.time_ms
                if sure:
                    world.sure.add(key)
        for boot, oldest in info.oldest_by_boot.items():
            assert oldest is not None
            through = oldest
            while (boot, through) in world.readings:
                through += 1
            if world.receipts_up and through > oldest:
                receipt = packs.write_receipt(packs.Receipt(boot, through - 1))
                self.inbox.append(("receipt", receipt))

    def received(self, budget_ms: int) -> tuple[str, bytes] | None:
        if self.inbox:
            return self.inbox.pop(0)
        self.world.now_ms += budget_ms
        return None

    def disconnect(self, budget_ms: int) -> None:
        self.connected = False


class Probe:
    """One probe in its world, living through wakes, cuts and resets."""

    def __init__(self, drift_ppm: int = 0, **changes: Any) -> None:
        self.world = World()
        self.flash = Flash()
        self.drift_ppm = drift_ppm
        self.settings = settings.defaults()
        self.settings["wifi"]["ssid"] = "garden"
        self.settings["broker"]["host"] = "192.0.2.1"
        self.settings.update(changes)
        self.memory_bytes = b""
        self.power_on_ms = self.world.now_ms
        self.calendar_ms = FROM_2000_MS
        """What its calendar showed at power-up, as if it had been set then."""
        self.reset = "power was connected, or dipped"
        self.network = Network(self.world)
        self.link = Link(self.world)
        self.wired: Any = None
        self.awake = False
        self.sensors = [
            Sensor(self.world, "battery", [(0, "battery")]),
            Sensor(self.world, "head 1 soil temperature", [(1, "soil_temperature")]),
            Sensor(self.world, "head 1 moisture", [(1, "moisture_voltage")]),
        ]
        self.blinks: list[int] = []
        self.true_ms: dict[tuple[int, int], int] = {}
        """When each instant was truly measured, by (boot, sequence)."""
        self.heard_ms: dict[int, list[int]] = {}
        """For each boot, when it was told what time it is, and kept it: power did not go in that wake."""
        self.longest_ms = 0
        self.dice = 0

    def mark_ms(self) -> int:
        """The board's clock, as fast or slow as it is."""
        ran_ms = self.world.now_ms - self.power_on_ms
        return self.calendar_ms + ran_ms + ran_ms * self.drift_ppm // 1_000_000

    def date(self, wanted_ms: int, at_least: bool) -> int:
        """Set the calendar, as `board.date` does."""
        jumped_ms = wanted_ms - self.mark_ms()
        if jumped_ms < 0 and at_least:
            return 0
        self.calendar_ms += jumped_ms
        return jumped_ms

    def memory(self, data: bytes | None = None) -> bytes:
        if data is not None:
            assert len(data) <= 2048
            self.memory_bytes = bytes(data)
        return self.memory_bytes

    def pause(self, wait_ms: int) -> None:
        self.world.now_ms += wait_ms

    def ntp(self, budget_ms: int) -> int:
        if not self.world.ntp_up:
            self.world.refuse(budget_ms, "no answer")
        self.world.now_ms += 40
        self.world.told_time += 1
        out_ms = self.world.ntp_out_ms.pop(0) if self.world.ntp_out_ms else 0
        return self.world.now_ms + out_ms

    def parts(self) -> Parts:
        self.dice += 7919
        return Parts(
            settings=self.settings, fs=self.flash, folder="data", memory=self.memory, mark_ms=self.mark_ms,
            date=self.date, pause=self.pause, power=lambda on: None, warm_ms=10, sensors=self.sensors,
            network=self.network, ntp=self.ntp, link=self.link, wired=self.wired, awake=self.awake,
            feed=lambda: None, blink=self.blinks.append,
            random=lambda: self.dice, device="urn:dev:mac:0011223344556677:", reset=self.reset,
            firmware="0.1",
        )  # fmt: skip

    def wake(self) -> int:
        """One wake cycle; returns how long it means to sleep [ms of its own timer]."""
        parts = self.parts()
        pack = record.pack

        def noted(instant: record.Instant) -> bytes:
            self.true_ms[(instant.boot, instant.sequence)] = self.world.now_ms
            return pack(instant)

        record.pack = noted
        began_ms, told = self.world.now_ms, self.world.told_time
        try:
            sleep_ms = wake(parts)
        finally:
            record.pack = pack
            self.longest_ms = max(self.longest_ms, self.world.now_ms - began_ms)
        if self.world.told_time > told:
            self.heard_ms.setdefault(max(boot for boot, _ in self.true_ms), []).append(began_ms)
        self.settings = parts.settings
        self.reset = WOKE
        return sleep_ms

    def measured_ms(self, sequence: int) -> int:
        """When this instant of the only boot was truly measured."""
        (found,) = [true_ms for (_, number), true_ms in self.true_ms.items() if number == sequence]
        return found

    def sleep(self, sleep_ms: int) -> None:
        self.world.now_ms += sleep_ms * 1_000_000 // (1_000_000 + self.drift_ppm)

    def run(self, wakes: int) -> None:
        for _ in range(wakes):
            self.sleep(self.wake())

    def lose_power(self, away_ms: int = 0) -> None:
        """All power goes, RTC memory with it, and comes back later."""
        self.memory_bytes = bytes(2048)
        self.flash.cut_after = None
        self.link.connected = False
        self.world.now_ms += away_ms
        self.power_on_ms, self.calendar_ms = self.world.now_ms, FROM_2000_MS
        self.reset = "power was connected, or dipped"
