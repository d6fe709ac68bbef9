"""The spool: instants on flash until they are known to be safe elsewhere.

Append-only files ("segments"), each named by the number of its first entry. An entry is length, number,
payload and CRC-32 of all three; its number must follow the one before. So whatever a power cut leaves
behind an intact entry is seen as torn, is never read, and is never written over: the next entry
begins a segment of its own. Entries are freed from the oldest on; how far is kept in two slots.
"""

import binascii
import struct

from probe.files import Files, Slots

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

_HEAD = "<HI"
_HEAD_BYTES = 6
_CRC_BYTES = 4
_FREED = "<II"
MOST_ENTRY_BYTES = 512
SEGMENT_BYTES = 8192
LIMIT_BYTES = 262144


class Spool:
    """Entries are numbered on and on; payloads are the caller's. Never holds more than one in memory."""

    def __init__(
        self, fs: Files, folder: str, limit_bytes: int = LIMIT_BYTES, segment_bytes: int = SEGMENT_BYTES
    ) -> None:
        """Open, and repair what a cut left. `newest` is the last entry's payload, or None."""
        self._fs = fs
        self._folder = folder
        self._segment_bytes = segment_bytes
        self._most_segments = max(2, limit_bytes // segment_bytes)
        try:
            fs.mkdir(folder)
        except OSError:
            pass  # it is there
        self._slots = Slots(fs, folder + "/freed")
        self.freed: int = 0
        self.dropped: int = 0
        self.freed, self.dropped = struct.unpack(_FREED, self._slots.read() or bytes(8))
        self.damaged = 0
        self.newest: "bytes | None" = None
        self._damaged_through = 0
        self._cursor = (0, 0, 0)
        self._firsts: "list[int]" = []
        for name in fs.listdir(folder):
            if name.endswith(".log"):
                try:
                    self._firsts.append(int(name[:-4], 16))
                except ValueError:
                    pass
        self._firsts.sort()
        self._next = self.freed + 1
        self._end = 0
        self._tail_is_whole = False
        self._remove_freed()
        if self._firsts:
            self._find_end()

    def __len__(self) -> int:
        """Entries not yet freed."""
        if not self._firsts:
            return 0
        return self._next - max(self.freed + 1, self._firsts[0])

    def append(self, payloads: "list[bytes]") -> None:
        """Write entries in one go; when this returns they are on flash. Raises OSError."""
        data = bytearray()
        number = self._next
        for payload in payloads:
            if not 0 < len(payload) <= MOST_ENTRY_BYTES:
                raise ValueError("an entry of %d bytes" % len(payload))
            entry = struct.pack(_HEAD, len(payload), number) + payload
            data += entry
            data += struct.pack("<I", binascii.crc32(entry))
            number += 1
        if not data:
            return
        while True:
            try:
                self._write(data)
                break
            except OSError:
                # What reached the file is unknown, so nothing may follow it there.
                self._tail_is_whole = False
                if len(self._firsts) < 2:
                    raise
                self._drop_oldest()  # the flash is full of something else: make room
        self._next = number
        self.newest = payloads[-1]

    def peek(self, n: int, after: "int | None" = None) -> "list[tuple[int, bytes]]":
        """Up to n of the oldest entries not freed (and after `after`), as (number, payload)."""
        wanted = self.freed + 1 if after is None else max(self.freed, after) + 1
        found: "list[tuple[int, bytes]]" = []
        first, offset, number = self._cursor
        if number > wanted or first not in self._firsts:
            first = -1
        for index, start in enumerate(self._firsts):
            limit = self._firsts[index + 1] if index + 1 < len(self._firsts) else self._next
            if limit <= wanted or start < first:
                continue
            if start != first:
                offset, number = 0, start
            with self._fs.open(self._path(start), "rb") as file:
                file.seek(offset)
                while number < limit and len(found) < n:
                    payload = _read_entry(file, number)
                    if payload is None:
                        self._count_damage(max(number, wanted), limit)
                        number = limit
                        break
                    offset += _HEAD_BYTES + len(payload) + _CRC_BYTES
                    if number >= wanted:
                        found.append((number, payload))
                    number += 1
            self._cursor = (start, offset, number)
            if len(found) >= n:
                break
        return found

    def free_through(self, number: int) -> None:
        """Forget every entry through this number, for good. Raises OSError; then they are kept."""
        number = min(number, self._next - 1)
        if number > self.freed:
            self._keep(number, self.dropped)
            self._remove_freed()

    def _write(self, data: bytearray) -> None:
        begin = not self._tail_is_whole or self._end + len(data) > self._segment_bytes
        if begin:
            while len(self._firsts) >= self._most_segments and self._firsts[0] != self._next:
                self._drop_oldest()
        # A segment without one intact entry has the name of the one to begin: it is written anew.
        with self._fs.open(
            self._path(self._next if begin else self._firsts[-1]), "wb" if begin else "ab"
        ) as file:
            file.write(data)
        if begin:
            if not self._firsts or self._firsts[-1] != self._next:
                self._firsts.append(self._next)
            self._end = 0
            self._tail_is_whole = True
        self._end += len(data)

    def _drop_oldest(self) -> None:
        """Give up the oldest segment, and count what had not been freed."""
        last = (self._firsts[1] if len(self._firsts) > 1 else self._next) - 1
        lost = last - max(self.freed, self._firsts[0] - 1)
        freed, dropped = max(self.freed, last), self.dropped + max(0, lost)
        try:
            self._keep(freed, dropped)
        except OSError:
            # Not even room for the count: it is kept with the next one.
            self._fs.remove(self._path(self._firsts[0]))
            self.freed, self.dropped = freed, dropped
        self._remove_freed()

    def _keep(self, freed: int, dropped: int) -> None:
        self._slots.write(struct.pack(_FREED, freed, dropped))
        self.freed, self.dropped = freed, dropped

    def _remove_freed(self) -> None:
        """Remove segments with nothing left in them, but the last: it is written on, which wears less."""
        while len(self._firsts) > 1 and self._firsts[1] <= self.freed + 1:
            try:
                self._fs.remove(self._path(self._firsts[0]))
            except OSError:
                pass  # it is tried again at the next opening
            self._firsts.pop(0)

    def _find_end(self) -> None:
        """Where the last segment's intact entries end, and whether anything torn lies behind."""
        number = self._firsts[-1]
        with self._fs.open(self._path(number), "rb") as file:
            while True:
                payload = _read_entry(file, number)
                if payload is None:
                    break
                number += 1
                self._end += _HEAD_BYTES + len(payload) + _CRC_BYTES
                self.newest = payload
            file.seek(self._end)
            self._tail_is_whole = not file.read(1) and self._end > 0
        if number < self._next:
            self._tail_is_whole = False  # numbers go on beyond what was freed
        self._next = max(self._next, number)

    def _count_damage(self, number: int, limit: int) -> None:
        if limit - 1 > self._damaged_through:
            self.damaged += max(0, limit - max(number, self._damaged_through + 1))
            self._damaged_through = limit - 1

    def _path(self, first: int) -> str:
        return "%s/%08x.log" % (self._folder, first)


def _read_entry(file: "Any", number: int) -> "bytes | None":
    """The payload at the file's position if it is whole and has this number."""
    head = file.read(_HEAD_BYTES)
    if len(head) != _HEAD_BYTES:
        return None
    length, found = struct.unpack(_HEAD, head)
    if found != number or not 0 < length <= MOST_ENTRY_BYTES:
        return None
    rest = file.read(length + _CRC_BYTES)
    if len(rest) != length + _CRC_BYTES:
        return None
    payload: bytes = rest[:length]
    if binascii.crc32(payload, binascii.crc32(head)) != struct.unpack_from("<I", rest, length)[0]:
        return None
    return payload
