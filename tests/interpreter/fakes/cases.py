"""The firmware's own functions asked with plain JSON, alike on CPython and in the interpreter.

Each case takes what `json` can carry and gives back the same; bytes go as hex digits, floats in and out as
the hex digits of their eight bytes, so that nothing is rounded on the way.
"""

import binascii
import struct

from drivers import SensorError, bme280, capacitive, crc8, ds18b20, sht3x, sht4x
from probe import clock, files, pack, record, rtc, settings, spool, urgent

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any


class Cut(BaseException):
    """Power is gone."""


class Flash(files.Files):
    """Files in memory; power goes when `left` bytes or directory changes are done."""

    def __init__(self) -> None:
        self.held: dict[str, bytes] = {}
        self.left = -1

    def spend(self, cost: int) -> int:
        if self.left < 0:
            return cost
        done = min(cost, self.left)
        self.left -= done
        return done

    def change(self) -> None:
        if not self.spend(1):
            raise Cut

    def open(self, path: str, mode: str) -> "Any":
        if mode == "rb":
            if path not in self.held:
                raise OSError(2)
        else:
            self.change()
            if mode == "wb" or path not in self.held:
                self.held[path] = b""
        return Opened(self, path)

    def remove(self, path: str) -> None:
        if path not in self.held:
            raise OSError(2)
        self.change()
        del self.held[path]

    def rename(self, old: str, new: str) -> None:
        if old not in self.held:
            raise OSError(2)
        self.change()
        self.held[new] = self.held.pop(old)

    def listdir(self, path: str) -> "list[str]":
        return [name[len(path) + 1 :] for name in sorted(self.held) if name.startswith(path + "/")]

    def mkdir(self, path: str) -> None:
        pass


class Opened:
    def __init__(self, flash: Flash, path: str) -> None:
        self.flash, self.path, self.at = flash, path, 0

    def read(self, count: int = -1) -> bytes:
        data = self.flash.held[self.path][self.at :]
        data = data if count < 0 else data[:count]
        self.at += len(data)
        return data

    def seek(self, at: int) -> None:
        self.at = at

    def write(self, data: "Any") -> int:
        done = self.flash.spend(len(data))
        self.flash.held[self.path] += bytes(data[:done])
        if done < len(data):
            raise Cut
        return done

    def flush(self) -> None:
        pass

    def close(self) -> None:
        pass

    def __enter__(self) -> "Opened":
        return self

    def __exit__(self, *_: object) -> None:
        pass


def floats(text: str) -> float:
    value: float = struct.unpack("<d", binascii.unhexlify(text))[0]
    return value


def texts(value: float) -> str:
    return _hex(struct.pack("<d", value))


def _hex(data: "Any") -> str:
    return binascii.hexlify(bytes(data)).decode()


def spool_steps(steps: "list[list[Any]]") -> "Any":
    """Steps on a spool over flash that is cut and opened again: what it holds after each, and its files."""
    flash, seen = Flash(), []
    held = spool.Spool(flash, "spool", 1200, 400)
    for step in steps:
        flash.left = step[2]
        try:
            if step[0] == "append":
                held.append([binascii.unhexlify(text) for text in step[1]])
            elif step[0] == "free":
                held.free_through(held.freed + step[1])
            else:
                raise Cut
        except Cut:
            flash.left = -1
            held = spool.Spool(flash, "spool", 1200, 400)
        flash.left = -1
        seen.append([len(held), held.freed, held.dropped, [[n, _hex(data)] for n, data in held.peek(40)]])
    return [seen, [[name, _hex(flash.held[name])] for name in sorted(flash.held)]]


def instant_of(given: "list[Any]") -> record.Instant:
    boot, sequence, mark_ms, time_ms, values, faults = given
    measured = {(head, name): floats(value) for head, name, value in values}
    return record.Instant(boot, sequence, mark_ms, time_ms, measured, faults)


def packed_instants(given: "list[Any]") -> "Any":
    """Instants as bytes, and read back."""
    made = []
    for each in given:
        data = record.pack(instant_of(each))
        back = record.unpack(data)
        values = [[head, name, texts(value)] for (head, name), value in sorted(back.values.items())]
        made.append([_hex(data), back.boot, back.sequence, back.mark_ms, back.time_ms, values, back.faults])
    return made


def senml(given: "list[Any]", times_ms: "list[int]", absolute: bool) -> str:
    """A SenML pack of instants as they come from flash."""
    instants = [record.unpack(record.pack(instant_of(each))) for each in given]
    return pack.encode(instants, times_ms, absolute, given[0][1], "urn:dev:mac:f412fafffe000001:").decode()


def clock_steps(steps: "list[list[Any]]", asked: "list[int]") -> "Any":
    """Syncs and power cuts of a clock; what it says, and its bytes."""
    made = clock.Clock(3)
    said: list[Any] = []
    for step in steps:
        if step[0] == "sync":
            said.append(made.sync(step[1], step[2]))
        else:
            made.start_boot(made.boot + 1, step[1])
        kept = clock.unpack(made.pack(True))
        said.append(_hex(made.pack(False)))
        said.append(kept is not None and _hex(kept.pack(True)))
        made = kept or made
        said.append([list(made.time_ms(made.boot, mark_ms)) for mark_ms in asked])
        said.append([list(made.time_ms(made.boot - 1, mark_ms)) for mark_ms in asked])
    return said


def gathered(pieces: "list[str]", instants: "list[str]", cut: int) -> "Any":
    """RTC memory saved and read again, whole or cut short."""
    held = [b""]

    def memory(data: "bytes | None" = None) -> bytes:
        if data is not None:
            held[0] = data
        return held[0]

    made = rtc.Gather(memory)
    made.state, made.clock, made.notes = [binascii.unhexlify(piece) for piece in pieces]
    made.instants = [binascii.unhexlify(text) for text in instants]
    made.save()
    whole = held[0]
    held[0] = whole[:cut] if cut >= 0 else whole
    back = rtc.Gather(memory)
    return [_hex(whole), back.survived, [_hex(data) for data in back.instants], _hex(back.state)]


def checked(given: "Any") -> "Any":
    """Settings laid over the defaults: which, or why not."""
    new, problems = settings.check(given, settings.defaults())
    return [new, sorted(problems)]


def judged(steps: "list[list[list[Any]]]", limits: "Any") -> "Any":
    """Urgency of instants one after the other."""
    active, said = 0, []
    for values in steps:
        measured = {(head, name): floats(value) for head, name, value in values}
        active, reasons = urgent.judge(measured, limits, active)
        said.append([active, reasons])
    return said


def converted(what: str, text: str) -> "Any":  # noqa: PLR0911
    """A driver's conversion of raw bytes: the value's bits, or why there is none."""
    data = binascii.unhexlify(text)
    try:
        if what == "ds18b20":
            return texts(ds18b20.from_scratchpad(data))
        if what == "sht3x":
            return [texts(value) for value in sht3x.from_answer(data)]
        if what == "sht4x":
            return [texts(value) for value in sht4x.from_answer(data)]
        if what == "bme280":
            trim = bme280.Trim(data[:26], data[26:33])
            return [texts(value) for value in bme280.from_registers(data[33:38], trim)]
        if what == "moisture":
            return texts(capacitive.voltage(list(struct.unpack("<" + "I" * (len(data) // 4), data)), 1.3))
        return [crc8.one_wire(data), crc8.sensirion(data)]
    except SensorError as error:
        return str(error)
