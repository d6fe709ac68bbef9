"""How many readings one snapshot holds at once; beyond that they are read again when they are asked for."""

from traywarden.store.engine import snapshot
from traywarden.store.store import Tx

MOST_AT_HAND = 5_000_000
"""About a quarter of a gigabyte: weeks of a thousand heads with a reading a minute fit into no memory."""


def hold_at_most(tx: Tx, number: int) -> None:
    """Hold fewer readings in this snapshot than questions do; of no use outside a snapshot."""
    kept = snapshot(tx)
    if kept is not None:
        kept[hold_at_most] = number


def most_at_hand(tx: Tx) -> int:
    """How many readings may be held in this snapshot."""
    kept = snapshot(tx)
    number: int = MOST_AT_HAND if kept is None else kept.get(hold_at_most, MOST_AT_HAND)
    return number
