"""The probe over USB: the same SenML packs as lines, and questions answered, one JSON value to a line.

A `port` has read() -> the bytes that are there (b"" when none) and write(bytes). See "Talking over USB".
"""

import json

from probe.deadline import Deadline
from probe.link import LinkError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

MOST_LINE = 4_096
"""Longer lines are passed over: settings, the longest of what is sent to a probe, are shorter."""
HERE_MS = 1_500
"""How long a host has to show that it is there."""
IN = ("receipt", "settings")
_PAUSE_MS = 20


class Lines:
    """Lines out of bytes that come as they like; what is too long or no line at all is passed over."""

    def __init__(self, port: "Any") -> None:
        self._port = port
        self._begun = bytearray()
        self._too_long = False

    def next(self) -> "bytes | None":
        """The next whole line, or None when there is none yet."""
        while True:
            end = self._begun.find(b"\n")
            if end >= 0:
                line = bytes(self._begun[:end])
                self._begun = bytearray(self._begun[end + 1 :])
                if self._too_long or end > MOST_LINE:
                    self._too_long = False
                    continue
                if line.strip():
                    return line.strip()
                continue
            if len(self._begun) > MOST_LINE:
                self._begun, self._too_long = bytearray(), True
            more = self._port.read()
            if not more:
                return None
            self._begun.extend(more)


class Wired:
    """The host at the other end of the cable, as the wake cycle takes a link.

    `answer(question)` gives the answer to an {"ask": …}; `here` says who is there.
    """

    def __init__(
        self,
        port: "Any",
        ticks: "Any",
        answer: "Callable[[dict[str, Any]], dict[str, Any]]",
        here: "dict[str, Any]",
    ) -> None:
        self._port = port
        self._ticks = ticks
        self._answer = answer
        self._here = here
        self._lines = Lines(port)

    def connect(self, budget_ms: int) -> None:
        """Say who is here, and have a host answer with any line of its own. Raises LinkError."""
        deadline = Deadline(self._ticks, min(budget_ms, HERE_MS))
        self._write({"here": self._here})
        while not self._look([]):
            if not deadline.pause(_PAUSE_MS):
                raise LinkError("USB", "no host answers")

    def publish(self, kind: str, payload: bytes, retain: bool, budget_ms: int) -> None:
        """Write readings as they are, anything else under its kind. Only a receipt says it was stored."""
        if kind == "readings":
            self._port.write(payload + b"\n")
        else:
            self._port.write(b'{"' + kind.encode() + b'":' + payload + b"}\n")

    def received(self, budget_ms: int) -> "tuple[str, bytes] | None":
        """The next receipt or settings (kind, payload); questions that come first are answered."""
        deadline = Deadline(self._ticks, budget_ms)
        while True:
            came: list[tuple[str, bytes]] = []
            while self._look(came):
                if came:
                    return came[0]
            if not deadline.pause(_PAUSE_MS):
                return None

    def serve(self, budget_ms: int, quiet_ms: int) -> bool:
        """Answer questions until the budget is over or none came for so long; whether any came."""
        deadline, quiet = Deadline(self._ticks, budget_ms), Deadline(self._ticks, quiet_ms)
        asked = False
        while deadline.left_ms() > 0 and quiet.left_ms() > 0:
            if self._look([]):
                asked, quiet = True, Deadline(self._ticks, quiet_ms)
            else:
                deadline.pause(_PAUSE_MS)
        return asked

    def disconnect(self, budget_ms: int) -> None:
        """Nothing: a cable needs no goodbye."""

    def _look(self, came: "list[tuple[str, bytes]]") -> bool:
        """Take one line, if there is one: answer a question, put a message into `came`."""
        line = self._lines.next()
        if line is None:
            return False
        try:
            said = json.loads(line)
        except (ValueError, RuntimeError):  # RuntimeError: nested too deep
            return False
        if not isinstance(said, dict):
            return False
        if isinstance(said.get("ask"), str):
            answer = self._answered(said)
            then = answer.pop("then", None)
            self._write(answer)
            if then:
                then()
            return True
        for kind in IN:
            if isinstance(said.get(kind), dict):
                came.append((kind, json.dumps(said[kind]).encode()))
                return True
        return False

    def _answered(self, question: "dict[str, Any]") -> "dict[str, Any]":
        try:
            answer = self._answer(question)
        except Exception as error:  # a question must not end the probe's work
            answer = {"answer": "error", "why": repr(error)}
        if "id" in question:
            answer["id"] = question["id"]
        return answer

    def _write(self, value: "dict[str, Any]") -> None:
        self._port.write(json.dumps(value).encode() + b"\n")
