"""The flash file system as the probe uses it, and small values on it that survive a cut at any byte."""

import binascii
import os
import struct

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

_SLOT = "<IH"
_SLOT_BYTES = 6
_MOST_SLOT_BYTES = 2048


class Files:
    """The board's own file system. Tests put one in its place that can be cut at any byte."""

    def open(self, path: str, mode: str) -> "Any":
        return open(path, mode)

    def remove(self, path: str) -> None:
        os.remove(path)

    def rename(self, old: str, new: str) -> None:
        os.rename(old, new)

    def listdir(self, path: str) -> "list[str]":
        return os.listdir(path)

    def mkdir(self, path: str) -> None:
        os.mkdir(path)


class Slots:
    """One small value in two files that are written in turn: a cut spoils at most the new one.

    Needs no rename over an existing file, which not every file system of a board can do.
    """

    def __init__(self, fs: Files, path: str) -> None:
        self._fs = fs
        self._path = path
        self._serial = 0
        self._newest = 1
        self._value: "bytes | None" = None
        for slot in (0, 1):
            found = self._read(slot)
            if found is not None and found[0] > self._serial:
                self._serial, self._value = found
                self._newest = slot

    def read(self) -> "bytes | None":
        return self._value

    def write(self, value: bytes) -> None:
        """Raises OSError; the value before then still stands."""
        head = struct.pack(_SLOT, self._serial + 1, len(value))
        data = head + value
        slot = 1 - self._newest
        with self._fs.open("%s.%d" % (self._path, slot), "wb") as file:
            file.write(data + struct.pack("<I", binascii.crc32(data)))
        self._serial += 1
        self._newest = slot
        self._value = value

    def _read(self, slot: int) -> "tuple[int, bytes] | None":
        try:
            with self._fs.open("%s.%d" % (self._path, slot), "rb") as file:
                data = file.read(_MOST_SLOT_BYTES)
        except OSError:
            return None
        if len(data) < _SLOT_BYTES + 4:
            return None
        serial, length = struct.unpack_from(_SLOT, data, 0)
        end = _SLOT_BYTES + length
        if len(data) != end + 4 or struct.unpack_from("<I", data, end)[0] != binascii.crc32(data[:end]):
            return None
        return serial, data[_SLOT_BYTES:end]
