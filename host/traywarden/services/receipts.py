"""Which readings a probe may forget: for each of its boots, everything up to a sequence is stored.

A receipt is not retained on the broker. A retained one would outlive the store it speaks of, and after a
backup was restored or a store begun anew would free readings that are no longer held anywhere. A probe that
missed its receipt sends again, which changes nothing, and is answered at once.
"""

from bisect import bisect_right
from collections import OrderedDict
from collections.abc import Callable, Iterable

Key = tuple[str, int]
"""(probe, boot)"""
LookUp = Callable[[str, int, int | None], Iterable[tuple[int, int]]]
"""(probe, boot, from_sequence) to the stretches (first, last) that are stored."""

MOST_KEYS = 10_000
MOST_STRETCHES = 100_000


class Stretches:
    """A set of whole numbers, kept as the stretches without a gap that it consists of."""

    def __init__(self, stretches: Iterable[tuple[int, int]] = ()) -> None:
        """Begins with these (first, last), ascending and apart."""
        known = list(stretches)
        self._starts = [first for first, _ in known]
        self._ends = [last for _, last in known]

    def __len__(self) -> int:
        return len(self._starts)

    @property
    def lowest(self) -> int | None:
        return self._starts[0] if self._starts else None

    def add(self, number: int) -> None:
        starts, ends = self._starts, self._ends
        if ends and number == ends[-1] + 1:  # nearly always: the next reading
            ends[-1] = number
            return
        at = bisect_right(starts, number)  # stretches before `at` begin at or before the number
        if at and number <= ends[at - 1]:
            return
        joins_left = at > 0 and ends[at - 1] == number - 1
        joins_right = at < len(starts) and starts[at] == number + 1
        if joins_left and joins_right:
            ends[at - 1] = ends.pop(at)
            del starts[at]
        elif joins_left:
            ends[at - 1] = number
        elif joins_right:
            starts[at] = number
        else:
            starts.insert(at, number)
            ends.insert(at, number)

    def end_of_stretch(self, number: int) -> int | None:
        """The last number of the stretch that holds `number`; None when it is not in the set."""
        at = bisect_right(self._starts, number)
        return self._ends[at - 1] if at and number <= self._ends[at - 1] else None

    def forget_below(self, number: int) -> None:
        at = bisect_right(self._starts, number)
        keep = at - 1 if at and number <= self._ends[at - 1] else at
        del self._starts[:keep], self._ends[:keep]


class _Boot:
    """`floor`: below it the store was not asked, or what it said was forgotten (None: all is known)."""

    def __init__(self, stored: Stretches, oldest: int | None) -> None:
        self.stored, self.floor, self.oldest = stored, oldest, oldest


class Receipts:
    """What is stored of each (probe, boot), as far as a receipt needs it.

    `look_up` is asked when the first pack of a (probe, boot) after a start has been committed, and again
    only for one that was forgotten to bound memory.
    """

    def __init__(self, look_up: LookUp, most_keys: int = MOST_KEYS) -> None:
        self._look_up, self._most_keys = look_up, most_keys
        self._boots: OrderedDict[Key, _Boot] = OrderedDict()
        self._stretches = 0  # of all of them

    def committed(self, key: Key, sequences: Iterable[int], oldest: int | None) -> int | None:
        """Take note of stored sequences; returns the receipt's sequence, or None when there is none to give.

        `oldest` is the lowest sequence the probe says it still holds: nothing below it is waited for. Call
        it after the commit only.
        """
        boot = self._boots.get(key)
        before = len(boot.stored) if boot is not None else 0
        if boot is None or (oldest is not None and boot.floor is not None and oldest < boot.floor):
            boot = self._boots[key] = _Boot(Stretches(self._look_up(*key, oldest)), oldest)
        else:
            for sequence in sequences:
                boot.stored.add(sequence)
        self._boots.move_to_end(key)
        if oldest is not None:
            boot.oldest = oldest
            if boot.floor is None or oldest > boot.floor:
                boot.stored.forget_below(oldest)
                boot.floor = oldest
        self._stretches += len(boot.stored) - before
        self._bound()
        first = boot.stored.lowest if boot.oldest is None else boot.oldest
        return None if first is None else boot.stored.end_of_stretch(first)

    def _bound(self) -> None:
        """Forget what was not asked for the longest, never the one at hand."""
        while len(self._boots) > 1 and (
            len(self._boots) > self._most_keys or self._stretches > MOST_STRETCHES
        ):
            _, forgotten = self._boots.popitem(last=False)
            self._stretches -= len(forgotten.stored)
