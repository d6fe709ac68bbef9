"""Probes on a USB cable: their lines go the same way as what comes over MQTT, their receipts back.

A line that begins with “[” is a SenML pack; `{"here": …}` says who is on the cable, `{"state": …}` how it is.
Everything else (what a chip says as it starts) is passed over. A probe on a cable keeps its readings until
their receipt, so a line that is lost, or came before we knew whose it is, comes again.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from typing import Any

import msgspec

from traywarden.errors import BoardError, WireError
from traywarden.links.inbox import Inbox, Link, Message
from traywarden.links.serial import SerialLine
from traywarden.settings import Settings
from traywarden.wire import topics

Say = Callable[[str], None]
LOOK_S = 0.1
AGAIN_S = 0.25
"""How soon a port that is gone is looked for again: a probe that wakes waits 1.5 s for us."""
MOST_WAITING = 200
MOST_NAME = 63
_HELLO = b'{"ask":"hello"}'

_object = msgspec.json.Decoder(dict[str, msgspec.Raw])
_names = msgspec.json.Decoder(dict[str, Any])


class OnCable:
    """The mark of a message that came over a cable: there is nothing to acknowledge but by its receipt."""


ON_CABLE = OnCable()


class WiredProbe:
    """One port, watched on a thread of its own, whatever is plugged in or pulled out."""

    def __init__(self, path: str, inbox: Inbox, say: Say, *, most_bytes: int) -> None:
        self.path = path
        self._inbox, self._say, self._most_bytes = inbox, say, most_bytes
        self._who: tuple[str, str] | None = None
        self._settings: dict[tuple[str, str], bytes] = {}
        self._to_send: deque[bytes] = deque(maxlen=MOST_WAITING)
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"probe on {path}", daemon=True)
        self._in_trouble = False

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """End, after what is to be sent has been written."""
        self._ending.set()
        if self._thread.ident is not None:
            self._thread.join()

    def send(self, topic: topics.Topic, payload: bytes, *, keep: bool) -> None:
        """A receipt or settings for a probe; `keep`: also for when it comes to be on this cable."""
        who = topic.garden, topic.probe
        line = b'{"' + topic.kind.encode() + b'":' + payload + b"}"
        if keep:
            self._settings[who] = line
        if who == self._who:
            self._to_send.append(line)

    def _run(self) -> None:
        while not self._ending.is_set():
            try:
                with SerialLine(self.path, most_bytes=self._most_bytes) as line:
                    self._talk(line)
            except BoardError as error:
                if not self._in_trouble:
                    self._say(f"{error} Looking for it until it is back.")
                self._in_trouble = True
                self._who = None
                self._ending.wait(AGAIN_S)

    def _talk(self, line: SerialLine) -> None:
        self._to_send.clear()
        line.write(_HELLO)
        while True:
            last = self._ending.is_set()
            while self._to_send:
                line.write(self._to_send.popleft())
            if last:
                return
            for came in line.lines(LOOK_S):
                self._take(came)

    def _take(self, line: bytes) -> None:
        if line.startswith(b"["):
            self._pass_on(topics.READINGS, line)
        elif line.startswith(b"{"):
            try:
                said = _object.decode(line)
                if "here" in said:
                    self._is_here(_names.decode(said["here"]))
                    self._to_send.append(_HELLO)  # whatever it asked: a line of ours tells it we are there
                elif "state" in said and "answer" not in said:
                    self._pass_on(topics.STATE, bytes(said["state"]))
                elif said.get("answer") == msgspec.Raw(b'"hello"'):
                    self._is_here(_names.decode(line))
                    if (kept := self._settings.get(self._who or ("", ""))) is not None:
                        self._to_send.append(kept)
            except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
                return  # torn by a restart of either side

    def _is_here(self, said: dict[str, Any]) -> None:
        garden, name = said.get("garden"), said.get("name")
        if not all(isinstance(n, str) and len(n) <= MOST_NAME and n.isprintable() for n in (garden, name)):
            return  # noise: no firmware lets itself be called that
        assert isinstance(garden, str)
        assert isinstance(name, str)
        if (garden, name) != self._who:
            self._who = garden, name
            if self._in_trouble:
                self._say(f"The probe “{name}” is on {self.path}.")
            self._in_trouble = False

    def _pass_on(self, kind: str, payload: bytes) -> None:
        if self._who is None:
            self._to_send.append(_HELLO)  # it comes again, and by then we know whose it is
            return
        # The name as it says it: one that is no name goes to quarantine, as it would over MQTT.
        topic = "/".join((topics.PREFIX, *self._who, kind))
        self._inbox.put(Message(topic, payload, time.time_ns() // 1_000_000, False, ON_CABLE))
        if self._inbox.full:
            self._inbox.wait_for_room()


class WithWired:
    """A link that is a broker's, and cables beside it. See `Link`."""

    def __init__(self, broker: Link, wired: Sequence[WiredProbe]) -> None:
        self._broker, self._wired = broker, wired

    @property
    def address(self) -> tuple[str, int]:
        return self._broker.address

    @property
    def alive(self) -> bool:
        return self._broker.alive and all(wired.alive for wired in self._wired)

    def start(self) -> None:
        self._broker.start()
        for wired in self._wired:
            wired.start()

    def acknowledge(self, messages: Sequence[Message]) -> None:
        self._broker.acknowledge([m for m in messages if m.mark is not ON_CABLE])

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        self._broker.publish(topic, payload, retain=retain)
        try:
            parsed = topics.parse(topic)
        except WireError:
            return
        for wired in self._wired:
            wired.send(parsed, payload, keep=retain)

    def stop(self) -> None:
        for wired in self._wired:
            wired.stop()
        self._broker.stop()


def with_wired(broker: Link, settings: Settings, inbox: Inbox, say: Say) -> Link:
    """The broker's link, joined by the serial ports of the settings where there are any."""
    paths = dict.fromkeys(path.strip() for path in settings["wired.ports"].split(",") if path.strip())
    if not paths:
        return broker
    most_bytes = settings["wire.most_bytes"]
    return WithWired(broker, [WiredProbe(path, inbox, say, most_bytes=most_bytes) for path in paths])
