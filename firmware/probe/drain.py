"""Draining: instants go out oldest first, and are freed only when they are known to be safe."""

import json

from probe import pack, record

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

WINDOW = 4
"""Packs on their way at once, where receipts are waited for."""
LEAST_MS = 1000
"""With less than this left of the budget no further pack is begun."""
MOST_VALUES = 72
"""In one pack: about 4 KiB."""
PUBLISH_MS = 6000
RECEIPT_MS = 8000


def drain(run: "Any", link: "Any", receipts: bool, direct: bool) -> bool:
    """Send what waits. True when all of it that was sent is known to be safe; raises when the link fails.

    `direct`: nothing between here and the host can keep a pack for later.
    """
    progress = False
    for source in run.memory.sources():
        while run.left_ms(LEAST_MS) >= LEAST_MS:
            sent = _send_window(run, link, source, WINDOW if receipts else 1, direct)
            if not sent:
                break
            through = _await_receipts(run, link, sent) if receipts else sent[-1][0]
            try:
                source.free_through(through)
            except OSError as error:
                run.fault("flash", error)
                return False
            if through < sent[-1][0]:
                return False
            progress = True
    return progress or not len(run.memory)


def _send_window(
    run: "Any", link: "Any", source: "Any", packs: int, direct: bool
) -> "list[tuple[int, int, int]]":
    """Publish some packs; what they hold as (number, boot, sequence) in order of number."""
    sent: "list[tuple[int, int, int]]" = []
    oldest: "dict[int, int]" = {}
    for _ in range(packs):
        if sent and run.left_ms(LEAST_MS) < LEAST_MS:
            break
        chunk = _Chunk(run, sent[-1][2] if sent else 0, sent[-1][1] if sent else 0, direct)
        entries = source.peek(run.settings["pack_n"], sent[-1][0] if sent else None)
        for number, data in entries:
            if not chunk.takes(number, data):
                break
        if not chunk.covered:
            break
        if chunk.instants:
            first = chunk.instants[0]
            if first.boot in oldest and chunk.gap:
                break  # the host's receipt cannot reach over a gap until what is before it is freed
            lowest = oldest.setdefault(first.boot, first.sequence)
            payload = pack.encode(
                chunk.instants, chunk.times(), chunk.absolute, lowest, run.parts.device, chunk.unsure
            )
            link.publish("readings", payload, False, run.left_ms(PUBLISH_MS))
        sent += chunk.covered
    return sent


class _Chunk:
    """Instants that can share a pack: one boot, no gap in sequence, all dated or none."""

    def __init__(self, run: "Any", sequence: int, boot: int, direct: bool) -> None:
        self.run = run
        self.direct = direct
        self.instants: "list[record.Instant]" = []
        self.covered: "list[tuple[int, int, int]]" = []
        self.absolute = self.unsure = self.gap = False
        self._dates: "list[int | None]" = []
        self._values = 0
        self._boot = boot
        self._sequence = sequence

    def takes(self, number: int, data: bytes) -> bool:
        """Add an entry, unless it needs a pack of its own."""
        try:
            instant = record.unpack(data)
        except ValueError:
            self.covered.append(
                (number, self._boot, self._sequence)
            )  # another firmware's: nobody can read it
            return True
        if instant.boot == self._boot and instant.sequence <= self._sequence:
            self.covered.append((number, self._boot, self._sequence))  # twice on flash, after a reset
            return True
        gap = instant.boot == self._boot and instant.sequence != self._sequence + 1
        clock = self.run.clock
        date_ms, unsure = clock.time_ms(instant.boot, instant.mark_ms, instant.time_ms)
        if date_ms is None:  # by its age, which a pack that waits in a broker outlives
            unsure = clock.age_ms(instant.boot, instant.mark_ms, self.run.now_ms())[1] or not self.direct
        if self.instants:
            if self._values + len(instant.values) > MOST_VALUES:
                return False
            alike = (date_ms is not None) == self.absolute and unsure == self.unsure
            if gap or instant.boot != self._boot or not alike:
                return False
        else:
            self.absolute, self.unsure, self.gap = date_ms is not None, unsure, gap
        self._values += len(instant.values)
        self.instants.append(instant)
        self._dates.append(date_ms)
        self._boot, self._sequence = instant.boot, instant.sequence
        self.covered.append((number, instant.boot, instant.sequence))
        return True

    def times(self) -> "list[int]":
        if self.absolute:
            return [date_ms or 0 for date_ms in self._dates]
        now_ms = self.run.now_ms()
        clock = self.run.clock
        return [-clock.age_ms(instant.boot, instant.mark_ms, now_ms)[0] for instant in self.instants]


def _await_receipts(run: "Any", link: "Any", sent: "list[tuple[int, int, int]]") -> int:
    """Wait for the host to say what it stored; the number of the last entry that is safe with all before."""
    known: "dict[int, int]" = {}
    began_ms = run.now_ms()
    while True:
        through = 0
        for number, boot, sequence in sent:
            if known.get(boot, 0) < sequence:
                break
            through = number
        wait_ms = run.left_ms(max(0, RECEIPT_MS - (run.now_ms() - began_ms)))
        if through == sent[-1][0] or wait_ms <= 0:
            return through
        message = link.received(wait_ms)
        if message is not None and message[0] == "receipt":
            _note(message[1], known)
        elif message is not None:
            run.message(message[0], message[1])


def _note(payload: bytes, known: "dict[int, int]") -> None:
    try:
        said = json.loads(payload)
        boot, sequence = said["boot"], said["sequence"]
    except (ValueError, KeyError, TypeError):
        return
    if isinstance(boot, int) and isinstance(sequence, int):
        known[boot] = max(known.get(boot, 0), sequence)
