"""A probe on a USB cable, as a process: the firmware's own wired.py and asked.py at the far end of a pty.

    python tests/probe_on_cable.py CABLE FLASH [READINGS_PER_S]

CABLE is made a link to the terminal, as plugging in makes /dev/ttyACM0; killing the process pulls the plug.
FLASH is a folder: settings.json, and unsent.json with the sequences that have no receipt yet.
"""

import importlib
import json
import os
import sys
import time
import tty
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "firmware"))
asked, files, pack, record, settings, wired = (
    importlib.import_module(f"probe.{name}")
    for name in ("asked", "files", "pack", "record", "settings", "wired")
)
BOOT = 3
START_MS = 1_790_000_000_000
PACK = 5


class Ticks:
    """Time as MicroPython tells it."""

    @staticmethod
    def ticks_ms() -> int:
        return time.monotonic_ns() // 1_000_000

    @staticmethod
    def ticks_diff(later: int, earlier: int) -> int:
        return later - earlier

    @staticmethod
    def sleep_ms(wait_ms: int) -> None:
        time.sleep(wait_ms / 1000)


class Port:
    """The probe's end of the terminal."""

    def __init__(self, cable: Path) -> None:
        self._near, far = os.openpty()
        tty.setraw(far)
        os.set_blocking(self._near, False)
        fresh = cable.with_name(f"{cable.name}.new")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(os.ttyname(far))
        fresh.replace(cable)
        self._far = far  # held open: without any reader a terminal refuses what is written

    def read(self) -> bytes:
        try:
            return os.read(self._near, 4096)
        except BlockingIOError:
            return b""

    def write(self, data: bytes) -> None:
        while data:
            try:
                data = data[os.write(self._near, data) :]
            except BlockingIOError:
                time.sleep(0.005)


class Adc:
    """An analogue input that shows so many volts."""

    def __init__(self, volts: float) -> None:
        self._uv = round(volts * 1e6)

    def read_uv(self) -> int:
        return self._uv


class NoBus:
    """A bus on which nothing answers."""

    def __getattr__(self, name: str) -> Any:
        def silent(*_: Any) -> int:
            if name.startswith(("readfrom", "writeto")):
                raise OSError(19, "no answer")
            return 0

        return silent


class Hardware:
    """Head 1 with a moisture sensor at 1.9 V, a battery at 3.9 V, and no other sensor."""

    moisture_scale, moisture_most_v, battery_scale = 1.0, 2.5, 2.0
    one_wire = i2c = NoBus()
    battery = Adc(1.95)

    def power(self, on: bool) -> None: ...

    def moisture(self, place: int) -> Adc:
        return Adc(1.9)


def write_whole(path: Path, said: object) -> None:
    """All of it or nothing, also where the plug is pulled in the middle."""
    path.with_suffix(".new").write_text(json.dumps(said))
    path.with_suffix(".new").replace(path)


class Spool:
    """What has no receipt yet, on flash."""

    dropped = damaged = 0

    def __init__(self, path: Path) -> None:
        self._path = path
        self.last, self.held = json.loads(path.read_text()) if path.exists() else (0, [])

    def __len__(self) -> int:
        return len(self.held)

    def keep(self) -> None:
        write_whole(self._path, [self.last, self.held])

    def measure(self) -> None:
        self.last += 1
        self.held.append(self.last)
        self.keep()

    def free_through(self, sequence: int) -> None:
        self.held = [held for held in self.held if held > sequence]
        self.keep()


def payload(sequences: list[int]) -> bytes:
    instants = [record.Instant(BOOT, n, n * 1000, None, {(1, "moisture_voltage"): 1.9}) for n in sequences]
    times_ms = [START_MS + n * 1000 for n in sequences]
    made: bytes = pack.encode(instants, times_ms, True, sequences[0], "urn:dev:mac:0011223344556677:")
    return made


def main(cable: str, flash: str, per_s: str = "0") -> None:
    folder = Path(flash)
    fs = files.Files()
    chosen, _ = settings.load(fs, str(folder / "settings.json"))
    settings.save.__defaults__ = (str(folder / "settings.json"),)
    spool, port = Spool(folder / "unsent.json"), Port(Path(cable))
    answers = asked.Answers(chosen, fs, Hardware(), Ticks.sleep_ms, spool, "power was connected", "test")
    link = wired.Wired(port, Ticks, answers, answers.here())
    port.write(b"ESP-ROM:esp32c3-api1\r\nBuild:Feb  7 2021\r\n")  # what the chip says as it starts
    wait_s = 1 / float(per_s) if float(per_s) else 0.0
    next_s = time.monotonic()
    while True:
        if not wait_s:
            link.serve(60_000, 60_000)
            continue
        if time.monotonic() >= next_s:
            next_s += wait_s
            spool.measure()
        try:
            if len(spool):
                link.connect(300)
                link.publish("readings", payload(spool.held[:PACK]), False, 300)
                link.publish("state", json.dumps({"state": "awake"}).encode(), True, 300)
        except Exception:  # noqa: BLE001 - nobody at the other end: it keeps them
            continue
        while (message := link.received(150)) is not None:
            kind, said = message[0], json.loads(message[1])
            if kind == "receipt" and said["boot"] == BOOT:
                spool.free_through(said["sequence"])
            write_whole(folder / f"last-{kind}.json", said)


if __name__ == "__main__":
    main(*sys.argv[1:])
