"""RTC memory: what must outlive a deep sleep but need not outlive a dead battery.

It holds the cycle's state, the clock, and the newest instants, which go to flash in blocks to spare it.
The loss window is therefore exactly what is gathered here: at most `flush_n` instants, lost only when
all power goes. Any other reset keeps them.
"""

import binascii
import struct

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

MOST_BYTES = 2048

_MAGIC = b"TW1"
_HEADS = 3


class Gather:
    """RTC memory as three pieces of state and a list of packed instants, under one CRC-32."""

    def __init__(self, memory: "Any") -> None:
        """`state`, `clock` and `notes` are empty when the memory did not survive."""
        self._memory = memory
        self.state = self.clock = self.notes = b""
        self.instants: "list[bytes]" = []
        self.freed = 0
        pieces = _pieces(bytes(memory()))
        self.survived = len(pieces) >= _HEADS
        if self.survived:
            self.state, self.clock, self.notes = pieces[:_HEADS]
            self.instants = pieces[_HEADS:]

    def __len__(self) -> int:
        return len(self.instants)

    def room(self, data_bytes: int) -> bool:
        """Whether one more instant of this size fits."""
        used = len(_MAGIC) + 4 + 2 * (_HEADS + 1) + len(self.state) + len(self.clock) + len(self.notes)
        for data in self.instants:
            used += len(data) + 2
        return used + data_bytes <= MOST_BYTES

    def save(self) -> None:
        """Write everything back. Notes give way when it would be too much."""
        if not self.room(0):
            self.notes = b""
        data = bytearray(_MAGIC)
        for piece in [self.state, self.clock, self.notes] + self.instants:
            data += struct.pack("<H", len(piece))
            data += piece
        data += struct.pack("<I", binascii.crc32(data))
        self._memory(bytes(data))

    # The same two questions that the spool answers, so that both are sent alike.

    def peek(self, n: int, after: "int | None" = None) -> "list[tuple[int, bytes]]":
        """Up to n instants after number `after`, as (number, packed)."""
        begin = max(0, (after or 0) - self.freed)
        return [
            (self.freed + i + 1, self.instants[i]) for i in range(begin, min(begin + n, len(self.instants)))
        ]

    def free_through(self, number: int) -> None:
        """Forget every instant through this number; `save` makes it last."""
        count = min(number - self.freed, len(self.instants))
        if count > 0:
            self.instants = self.instants[count:]
            self.freed += count


def _pieces(data: bytes) -> "list[bytes]":
    if len(data) < 7 or data[:3] != _MAGIC:
        return []
    end = len(data) - 4
    if struct.unpack_from("<I", data, end)[0] != binascii.crc32(data[:end]):
        return []
    at = 3
    pieces = []
    while at + 2 <= end:
        length = struct.unpack_from("<H", data, at)[0]
        pieces.append(data[at + 2 : at + 2 + length])
        at += 2 + length
    return pieces
