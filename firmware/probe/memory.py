"""What the probe keeps over a wake: RTC memory, the spool behind it, and the clock on flash."""

import json

from probe import clock as clocks
from probe import record
from probe import state as states
from probe.files import Slots
from probe.rtc import Gather
from probe.spool import Spool

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

FIRST_BOOT_BITS = 0xFFFFFF
"""Where no boot was ever counted, the count begins at random: after flash was wiped, numbers already used
would make the host take new readings for old ones."""

PROMPT_MS = 3 * 3600000
"""The board's clock cannot have run longer than its sleep and this: the prompt is open for two hours."""


class Memory:
    """Opens what a wake needs, and flash only then. `state` and `clock` are as the last wake left them."""

    def __init__(self, parts: "Any", fault: "Callable[..., None]") -> None:
        self._parts = parts
        self._fault = fault
        self._spool: "Spool | None" = None
        self._slots: "Slots | None" = None
        self._whole = False
        self.gather = Gather(parts.memory)
        self._notes: "list[str]" = _texts(self.gather.notes)
        self._told: "list[str]" = []
        raw_ms = parts.mark_ms()
        state = states.unpack(self.gather.state) if self.gather.survived else None
        if state is not None and not 0 <= raw_ms - state.raw_ms <= state.slept_ms * 6 // 5 + PROMPT_MS:
            # The clock stops in deep sleep on this board, or somebody set it: go by the sleep asked for.
            if parts.reset == states.WOKE:
                state.base_ms += state.raw_ms + state.slept_ms - raw_ms
            else:
                state = None
        if state is not None and parts.reset in states.BY_HAND:
            state.next_send_ms = min(state.next_send_ms, state.base_ms + raw_ms)
        clock = clocks.unpack(self.gather.clock) if state is not None else None
        if state is None or clock is None or clock.boot != state.boot:
            self.clock, self.state = self._new_boot(raw_ms)
        else:
            self.clock, self.state = clock, state

    def __len__(self) -> int:
        """Instants that wait, in RTC memory and on flash."""
        spool = self.spool()
        return len(self.gather) + (len(spool) if spool is not None else 0)

    def spool(self) -> "Spool | None":
        """The spool, opened; None while flash is out of order."""
        if self._spool is None:
            try:
                parts = self._parts
                self._spool = Spool(parts.fs, parts.folder + "/spool", parts.settings["spool_bytes"])
            except OSError as error:
                self._fault("flash", error)
        return self._spool

    def sources(self) -> "list[Any]":
        """Where instants wait, the oldest first."""
        spool = self.spool()
        return [self.gather] if spool is None else [spool, self.gather]

    def keep(self, data: bytes) -> None:
        """Add an instant to RTC memory; to flash with all of them if there is no room."""
        if not self.gather.room(len(data) + 64):
            self.flush()
        while not self.gather.room(len(data) + 64) and len(self.gather):
            self.gather.free_through(self.gather.freed + 1)  # flash is out of order, too
            self.state.lost += 1
        self.gather.instants.append(data)

    def flush(self) -> None:
        """Write what RTC memory has gathered to flash, in one go. On failure it stays where it is."""
        spool = self.spool()
        if spool is None or not len(self.gather):
            return
        try:
            newest = record.identity(spool.newest)[:2] if spool.newest else (0, 0)
            # A reset between this write and the next of RTC memory leaves both with the same instants.
            fresh = [data for data in self.gather.instants if record.identity(data)[:2] > newest]
            spool.append(fresh)
            self.gather.free_through(self.gather.freed + len(self.gather))
        except (OSError, ValueError) as error:
            self._fault("flash", error)

    def oldest(self) -> "tuple[int, int] | None":
        """Boot and mark of the oldest instant that waits."""
        for source in self.sources():
            for _, data in source.peek(1):
                try:
                    boot, _, mark_ms = record.identity(data)
                except ValueError:
                    return 0, 0  # of another firmware
                return boot, mark_ms
        return None

    def whole_clock(self) -> "clocks.Clock":
        """The clock with all its syncs, which only flash holds."""
        if not self._whole:
            self._whole = True
            found = clocks.unpack(self._clock_slots().read() or b"")
            if found is not None and found.boot == self.clock.boot:
                last_ms = found.points[-1][0] if found.points else -1
                found.points += [point for point in self.clock.points if point[0] > last_ms]
                found.ppm, found.corrected_ms = self.clock.ppm, self.clock.corrected_ms
                self.clock = found
        return self.clock

    def save_clock(self) -> None:
        """Keep the whole clock on flash: a power cut must not take the dates from what waits there."""
        try:
            self._clock_slots().write(self.clock.pack(True))
        except OSError as error:
            self._fault("flash", error)

    def save(self, faults: "list[str]") -> None:
        """Write RTC memory."""
        gather = self.gather
        self.faults(faults)
        gather.state = self.state.pack()
        gather.clock = self.clock.pack(False)
        gather.notes = json.dumps(self._notes).encode()
        gather.save()

    def faults(self, fresh: "list[str]") -> "list[str]":
        """All faults since the host was last told, with the fresh ones."""
        for fault in fresh:
            if fault not in self._notes and fault not in self._told and len(self._notes) < 8:
                self._notes.append(fault)
        return self._notes

    def told(self, faults: "list[str]") -> None:
        """The host has these faults, and all before."""
        self._notes = []
        self._told = list(faults)

    def dropped(self) -> int:
        return 0 if self._spool is None else self._spool.dropped

    def damaged(self) -> int:
        return 0 if self._spool is None else self._spool.damaged

    def _clock_slots(self) -> Slots:
        if self._slots is None:
            try:
                self._parts.fs.mkdir(self._parts.folder)
            except OSError:
                pass  # it is there
            self._slots = Slots(self._parts.fs, self._parts.folder + "/clock")
        return self._slots

    def _new_boot(self, raw_ms: int) -> "tuple[clocks.Clock, states.State]":
        """Running time and sequence begin anew, under a number never used before."""
        kept = clocks.unpack(self._clock_slots().read() or b"")
        self._whole = True
        spool = self.spool()
        newest = (0, 0, 0)
        for data in ([spool.newest] if spool is not None and spool.newest else []) + self.gather.instants:
            try:
                newest = max(newest, record.identity(data))
            except ValueError:
                pass  # of another firmware
        clock = kept or clocks.Clock()
        before = clock.boot
        boot = max(clock.boot, newest[0]) + 1
        if kept is None:
            boot += self._parts.random() & FIRST_BOOT_BITS
        clock.start_boot(boot, newest[2] if newest[0] == clock.boot and newest[0] else None)
        try:
            self._clock_slots().write(clock.pack(True))
        except OSError as error:
            self._fault("flash", error)
            clock.boot = boot = boot + (self._parts.random() & 0xFFFF)
        state = states.State(boot)
        state.base_ms, state.raw_ms = -raw_ms, raw_ms
        if spool is not None and len(spool) and newest[0] == before and newest[1] <= 2:
            # The boot before came no further than this: is the cell too weak for the radio? Sleep first.
            state.next_send_ms = self._parts.settings["read_s"] * 1000
        return clock, state


def _texts(data: bytes) -> "list[str]":
    try:
        found = json.loads(data) if data else []
    except ValueError:
        return []
    return found if isinstance(found, list) else []
