"""The way in: messages between a broker and the one thread that stores them, bounded in number and bytes."""

import threading
from collections import deque
from collections.abc import Sequence
from typing import Any, NamedTuple, Protocol


class Message(NamedTuple):
    """What arrived, and `mark`, by which the link that brought it acknowledges it later."""

    topic: str
    payload: bytes
    received_ms: int
    retained: bool
    mark: Any


class Link(Protocol):
    """A way to the probes: it fills an inbox, acknowledges what was stored, and publishes."""

    @property
    def address(self) -> tuple[str, int]:
        """Where the broker listens."""

    @property
    def alive(self) -> bool:
        """False when the link has ended by itself."""

    def start(self) -> None:
        """Begin; returns once messages can arrive. Raises BrokerError."""

    def acknowledge(self, messages: Sequence[Message]) -> None:
        """These are safely stored. Never raises: what cannot be acknowledged comes again."""

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Send at QoS 1 when the connection allows; `retain`: to later subscribers too. Never raises."""

    def stop(self) -> None:
        """End, after what was acknowledged and published has left."""


class Inbox:
    """A bounded queue from the links' threads to one storing thread.

    Putters and taker share no lock while the taker is busy: that is the state in which it has to be fast.
    """

    def __init__(self, most_messages: int = 20_000, most_bytes: int = 32 << 20) -> None:
        self._most_messages, self._most_bytes = most_messages, most_bytes
        self._messages: deque[Message] = deque()
        self._putting = threading.Lock()
        self._bytes_in = 0  # written with `_putting` held
        self._bytes_out = 0  # written by the taker alone
        self._changed = threading.Condition()
        self._idle = False
        self._held_up = False
        self._closed = False

    def __len__(self) -> int:
        return len(self._messages)

    @property
    def full(self) -> bool:
        return (
            len(self._messages) >= self._most_messages or self._bytes_in - self._bytes_out >= self._most_bytes
        )

    @property
    def closed(self) -> bool:
        return self._closed

    def put(self, message: Message) -> None:
        """Add a message; never waits (see `wait_for_room`). After the end it is dropped: it comes again."""
        if self._closed:
            return
        self._messages.append(message)
        with self._putting:
            self._bytes_in += len(message.payload)
        if self._idle:
            with self._changed:
                self._changed.notify_all()

    def wait_for_room(self) -> None:
        """Hold the network thread while the inbox is full: the broker keeps what it cannot send."""
        while self.full and not self._closed:
            with self._changed:
                self._held_up = True
                if self.full and not self._closed:
                    self._changed.wait(0.5)
                self._held_up = False

    def take(self, most: int, *, wait_s: float | None = None) -> list[Message]:
        """Up to `most` messages, waiting for the first; none when closed and empty, or after `wait_s`."""
        if not self._messages:
            with self._changed:
                self._idle = True
                # Looked at again with `_idle` set: either we see the message or its putter sees us waiting.
                self._changed.wait_for(lambda: bool(self._messages) or self._closed, wait_s)
                self._idle = False
        pop = self._messages.popleft
        taken = [pop() for _ in range(min(most, len(self._messages)))]
        self._bytes_out += sum(len(message.payload) for message in taken)
        if self._held_up:
            with self._changed:
                self._changed.notify_all()
        return taken

    def close(self) -> None:
        """No more is expected: the taker gets what is left and then nothing; a held-up putter goes on."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()
