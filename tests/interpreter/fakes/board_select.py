"""MicroPython's `select` over the bench's sockets."""

import bridge  # type: ignore[import-not-found]

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

POLLIN, POLLOUT, POLLERR, POLLHUP = 1, 4, 8, 16


class poll:  # noqa: N801
    def __init__(self) -> None:
        self.held: dict[int, Any] = {}

    def register(self, one: "Any", events: int = POLLIN | POLLOUT) -> None:
        self.held[one.fileno()] = (one, events)

    modify = register

    def unregister(self, one: "Any") -> None:
        self.held.pop(one.fileno(), None)

    def poll(self, ms: int = -1) -> "list[tuple[Any, int]]":
        asked = ",".join(
            f"{number}:{'r' if events & POLLIN else ''}{'w' if events & POLLOUT else ''}"
            for number, (_, events) in self.held.items()
        )
        answer = str(bridge.poll(asked, -1 if ms is None else int(ms)))
        found = []
        for each in answer.split(",") if answer else []:
            number, how = each.split(":")
            events = sum(
                bit for letter, bit in (("r", POLLIN), ("w", POLLOUT), ("e", POLLERR)) if letter in how
            )
            found.append((self.held[int(number)][0], events))
        return found

    ipoll = poll
