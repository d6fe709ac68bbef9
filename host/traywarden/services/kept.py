"""The memory that questions compute with: what upkeep has kept of a head, and what this snapshot adds."""

from collections.abc import Iterable, Sequence
from typing import Any, TypeVar

import msgspec

from traywarden.store import kept as kept_store
from traywarden.store.engine import once
from traywarden.store.store import Tx

T = TypeVar("T")
FEW = 3
"""Who asks of one head more often than this asks about a season: then all of it at once is quicker."""
_encode = msgspec.msgpack.Encoder().encode


_decoders: dict[type[Any], msgspec.msgpack.Decoder[Any]] = {}


def _decoded(result: bytes, kind: type[T]) -> T:
    if kind not in _decoders:
        _decoders[kind] = msgspec.msgpack.Decoder(kind)
    found: T = _decoders[kind].decode(result)
    return found


class KeptOfHead:
    """What is kept of one head; read when asked for. `fresh` and `used` tell upkeep what to keep."""

    def __init__(self, tx: Tx, head_id: int) -> None:
        self._tx, self.head_id = tx, head_id
        self._known: dict[bytes, bytes | None] = {}
        self._whole, self._asked = False, 0
        self.fresh: dict[bytes, bytes] = {}
        self.used: set[bytes] = set()

    def expect(self, keys: Sequence[bytes]) -> None:
        if self._whole or all(key in self._known for key in keys):
            return
        self._asked += 1
        if self._asked > FEW:
            self._read_whole()
        else:
            self._known |= dict.fromkeys(keys)
            self._known |= kept_store.results(self._tx, self.head_id, keys)

    def get(self, key: bytes, kind: type[T]) -> T | None:
        self.used.add(key)
        if not self._whole and key not in self._known:
            self._read_whole()
        found = self.fresh.get(key) or self._known.get(key)
        return None if found is None else _decoded(found, kind)

    def _read_whole(self) -> None:
        self._whole = True
        self._known |= kept_store.results(self._tx, self.head_id)

    def put(self, key: bytes, value: object) -> None:
        self.used.add(key)
        self.fresh[key] = _encode(value)

    def needed(self, keys: Iterable[bytes]) -> None:
        self.used.update(keys)


def kept_of(tx: Tx, head_id: int) -> KeptOfHead:
    """The memory of a head; the same one for the life of a snapshot."""
    return once(tx, ("kept", head_id), lambda: KeptOfHead(tx, head_id))
