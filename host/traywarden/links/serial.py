"""Serial ports: which look like boards, and lines to and from one. pyserial's errors end here."""

import errno
import os
import termios
from contextlib import suppress
from dataclasses import dataclass
from types import TracebackType

import serial
from serial.tools import list_ports

from traywarden.errors import BoardError

BAUD = 115_200
_WRITE_S = 5.0
_READ_BYTES = 4_096
_TROUBLE = (serial.SerialException, OSError, termios.error)

MAKERS = {
    0x303A: "Espressif, the chip's own USB",
    0x10C4: "Silicon Labs CP210x",
    0x1A86: "WCH CH34x",
    0x0403: "FTDI",
    0x2E8A: "Raspberry Pi",
    0x239A: "Adafruit",
    0x1B4F: "SparkFun",
}
"""USB vendor numbers of boards and of the serial chips that boards use."""


@dataclass(frozen=True, slots=True)
class Port:
    """A serial port that looks like a board's."""

    path: str
    maker: str
    says: str
    serial_number: str


def board_ports() -> list[Port]:
    """Serial ports whose USB maker builds boards, or the serial chips on them; by path."""
    return [
        Port(found.device, MAKERS[found.vid], found.description or "", found.serial_number or "")
        for found in sorted(list_ports.comports(), key=lambda port: str(port.device))
        if found.vid in MAKERS
    ]


class SerialLine:
    """An open port, read and written line by line. Raises BoardError when it cannot be, or is gone.

    A line longer than `most_bytes` comes cut off at one byte more, so that the reader can tell.
    """

    def __init__(self, path: str, *, most_bytes: int = 262_144) -> None:
        self.path, self._most_bytes = path, most_bytes
        self._begun = bytearray()
        self._cut = False
        try:
            self._port = serial.Serial(None, BAUD, timeout=0, write_timeout=_WRITE_S, exclusive=True)
            # Both lines low: the usual reset circuits take one of them alone for “restart”.
            self._port.dtr = self._port.rts = False
            self._port.port = path
            self._port.open()
        except (*_TROUBLE, ValueError) as error:
            raise BoardError(_why_not_open(path, error)) from error

    def lines(self, wait_s: float) -> list[bytes]:
        """The whole lines that have come, without their ends; waits so long for the first bytes."""
        try:
            self._port.timeout = wait_s
            came = self._port.read(1)
            waiting = self._port.in_waiting
            if came and waiting:
                came += self._port.read(min(waiting, 16 * _READ_BYTES))
        except (*_TROUBLE, TypeError) as error:  # TypeError: closed by another thread
            raise BoardError(f"The board on {self.path} is gone ({_reason(error)}).") from error
        return self._split(came)

    def write(self, line: bytes) -> None:
        try:
            self._port.write(line + b"\n")
        except _TROUBLE as error:
            raise BoardError(f"The board on {self.path} takes nothing ({_reason(error)}).") from error

    def close(self) -> None:
        with suppress(*_TROUBLE):  # it may have been unplugged
            self._port.close()

    def __enter__(self) -> "SerialLine":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _split(self, came: bytes) -> list[bytes]:
        self._begun += came
        *whole, rest = self._begun.split(b"\n")
        if whole and self._cut:
            whole[0], self._cut = whole[0][: self._most_bytes + 1], False
        if len(rest) > self._most_bytes:  # keep no more of it than shows that it is too long
            rest, self._cut = rest[: self._most_bytes + 1], True
        self._begun = bytearray(rest)
        return [bytes(line).strip()[: self._most_bytes + 1] for line in whole]


def _reason(error: BaseException) -> str:
    number = getattr(error, "errno", None)
    return os.strerror(number) if number else str(error) or type(error).__name__


def _why_not_open(path: str, error: BaseException) -> str:
    number = getattr(error, "errno", None)
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV):
        return (
            f"There is no {path}; plug the probe in with a cable that carries data "
            "(traywarden probe find lists the ports)."
        )
    if number in (errno.EACCES, errno.EPERM):
        return (
            f"You may not use {path}; join the group that may (usually: sudo usermod -aG dialout $USER), "
            "and log in again."
        )
    if number in (errno.EAGAIN, errno.EWOULDBLOCK, errno.EBUSY):
        return f"Another program uses {path}; close it, or stop the host while you talk to the probe."
    return (
        f"{path} cannot be opened as a serial port ({_reason(error)}); "
        "traywarden probe find lists those that can."
    )
