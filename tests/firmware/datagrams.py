"""UDP that answers by a function, at once or never."""

from collections.abc import Callable

from tests.firmware.waiting import Ticks


class Datagrams:
    """As `probe.sockets` for datagrams; `answers(packet)` gives what comes back. A look costs `costs_ms`."""

    def __init__(
        self,
        ticks: Ticks,
        answers: Callable[[bytes], list[bytes]] = lambda packet: [],
        *,
        fails: OSError | None = None,
        costs_ms: int = 0,
    ) -> None:
        self.ticks, self.answers, self.fails, self.costs_ms = ticks, answers, fails, costs_ms
        self.sent: list[tuple[bytes, tuple[str, int]]] = []
        self.waiting: list[bytes] = []
        self.closed = 0

    def open_datagram(self) -> "Datagrams":
        return self

    def send_to(self, sock: object, packet: bytes, address: tuple[str, int]) -> None:
        if self.fails is not None:
            raise self.fails
        self.sent.append((packet, address))
        self.waiting += self.answers(packet)

    def receive_from(self, sock: object, most: int) -> tuple[bytes, tuple[str, int]] | None:
        if self.costs_ms:
            self.ticks.sleep_ms(self.costs_ms)
        return (self.waiting.pop(0), ("192.0.2.1", 53)) if self.waiting else None

    def close(self) -> None:
        self.closed += 1
