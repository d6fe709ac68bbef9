"""A head's readings for questions: from its packed days, and from single readings where a day is stale.

Both give the same to the last bit, so an answer never depends on how far packing has come. What is computed
from single readings here is not kept: a question only reads. `services/upkeep.py` keeps it.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from traywarden.domain.flags import LOOK_AHEAD_MS, LOOK_BACK_MS, RULES, Flag
from traywarden.domain.packing import DAY_MS, PackedDay, packed, unpacked
from traywarden.domain.quality import clock_impossible, local_flags
from traywarden.domain.readings import VALUE_COLUMNS
from traywarden.domain.series import (
    BoolArray,
    FlaggedColumns,
    FloatArray,
    IntArray,
    absent_flags,
    absent_values,
    is_absent,
)
from traywarden.services.at_hand import most_at_hand
from traywarden.store import packed as packed_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.engine import once
from traywarden.store.store import Tx
from traywarden.turns import give_way

Days: TypeAlias = tuple[int, int]
"""The first and the last of some days."""
Order: TypeAlias = IntArray | slice

_DAYS_BEFORE, _DAYS_AFTER = -(-LOOK_BACK_MS // DAY_MS), -(-LOOK_AHEAD_MS // DAY_MS)


def rules_now(earliest_ms: int) -> str:
    """What the flags of a packed day hang on, besides the readings."""
    return f"flags {RULES}, from {earliest_ms}"


def head_days(tx: Tx, earliest_ms: int) -> "HeadDays":
    """The readings of a transaction. Within a snapshot what was read once is kept for its life."""
    return once(tx, ("head days", earliest_ms), lambda: HeadDays(tx, earliest_ms))


class HeadDays:
    """Reads whole days of heads; `prefetch` takes many heads in as few queries as one."""

    def __init__(self, tx: Tx, earliest_ms: int) -> None:
        self._tx, self._earliest_ms = tx, earliest_ms
        self._rules_hold = packed_store.rules(tx) == rules_now(earliest_ms)
        self._labels: dict[int, str] = {}
        self._known: dict[int, dict[Days, FlaggedColumns]] = {}
        self._size = 0

    def columns(self, head_id: int, start_ms: int, end_ms: int) -> FlaggedColumns:
        """What a head measured in [start_ms, end_ms), oldest first, flagged save for frost."""
        self.prefetch({head_id: (start_ms, end_ms)})
        day = start_ms // DAY_MS
        here = next(whole for (first, last), whole in self._known[head_id].items() if first <= day <= last)
        return here.between(start_ms, end_ms)

    def prefetch(self, spans_ms: Mapping[int, tuple[int, int]]) -> None:
        """Have the readings of heads in [start_ms, end_ms) at hand; what is at hand is not read again.

        With too many at hand, what is read next takes their place.
        """
        rounds = self._missing(spans_ms)
        if rounds and self._size > most_at_hand(self._tx):
            self.forget()
            rounds = self._missing(spans_ms)
        for wanted in rounds:
            for head_id, found in self._read(wanted).items():
                self._add(head_id, wanted[head_id], found)

    def _missing(self, spans_ms: Mapping[int, tuple[int, int]]) -> list[dict[int, Days]]:
        rounds: list[dict[int, Days]] = []
        for head_id, (start_ms, end_ms) in spans_ms.items():
            asked = (start_ms // DAY_MS, max(start_ms, end_ms - 1) // DAY_MS)
            for n, missing in enumerate(_without(asked, self._known.get(head_id, {}))):
                if n == len(rounds):
                    rounds.append({})
                rounds[n][head_id] = missing
        return rounds

    def forget(self) -> None:
        """Let go of what is at hand."""
        self._known.clear()
        self._size = 0

    def pack(self, head_id: int, days: Sequence[int]) -> list[PackedDay]:
        """Those of these days of a head that have readings, packed."""
        made = []
        for first, last in _runs(days):  # two late days far apart need nothing of what lies between
            found = self.columns(head_id, first * DAY_MS, (last + 1) * DAY_MS)
            for day in range(first, last + 1):
                here = found.between(day * DAY_MS, (day + 1) * DAY_MS)
                if here.time_ms.size:
                    made.append(packed(day, here.time_ms, here.values, here.flags))
        return made

    def _add(self, head_id: int, days: Days, found: FlaggedColumns) -> None:
        """Join what was read with what is known right before and after it."""
        self._size += found.time_ms.size
        known = self._known.setdefault(head_id, {})
        touching = [span for span in known if span[1] == days[0] - 1 or span[0] == days[1] + 1]
        parts = {span: known.pop(span) for span in touching} | {days: found}
        joined = _one_after_another([parts[span] for span in sorted(parts)])
        known[min(parts)[0], max(parts)[1]] = joined

    def _read(self, wanted: Mapping[int, Days]) -> dict[int, FlaggedColumns]:
        """Read whole days of heads, from the first to the last."""
        # The flags of a stale day at either end need its neighbours.
        wide = {h: (first - _DAYS_BEFORE, last + _DAYS_AFTER) for h, (first, last) in wanted.items()}
        stale = packed_store.stale_days(self._tx, wide, rules_hold=self._rules_hold)
        kept = packed_store.days(self._tx, wide) if self._rules_hold else {}
        fresh = self._single_readings({h: _runs(days) for h, days in stale.items()})
        self._labels |= {h: parts[0][0].label for h, parts in fresh.items() if parts}
        if unnamed := wanted.keys() - self._labels.keys():
            self._labels |= probe_store.labels(self._tx, unnamed)
        found = {}
        for head_id, (first, last) in wanted.items():
            give_way()
            left_out = set(stale[head_id])
            days = [one for one in kept.get(head_id, ()) if one.day not in left_out]
            here = [day for day in stale[head_id] if first <= day <= last]
            whole = self._flagged(self._labels[head_id], days, fresh[head_id], here)
            found[head_id] = whole.between(first * DAY_MS, (last + 1) * DAY_MS)
        return found

    def _single_readings(
        self, runs: Mapping[int, Sequence[Days]]
    ) -> dict[int, list[tuple[FlaggedColumns, BoolArray]]]:
        """Readings of runs of days (first, last), and which of them have an impossible clock."""
        heads: dict[Days, list[int]] = {}
        for head_id, mine in runs.items():
            for run in mine:
                heads.setdefault(run, []).append(head_id)
        found: dict[int, list[tuple[FlaggedColumns, BoolArray]]] = {head_id: [] for head_id in runs}
        for (first, last), head_ids in sorted(heads.items()):
            read = reading_store.columns_of(self._tx, head_ids, first * DAY_MS, (last + 1) * DAY_MS)
            for head_id, columns in read.items():
                if columns.time_ms.size:
                    one = FlaggedColumns(columns.label, columns.time_ms, columns.values, {})
                    found[head_id].append((one, clock_impossible(columns, self._earliest_ms)))
        return found

    @staticmethod
    def _flagged(
        label: str,
        days: Sequence[PackedDay],
        fresh: Sequence[tuple[FlaggedColumns, BoolArray]],
        stale: Sequence[int],
    ) -> FlaggedColumns:
        """Packed days and single readings in one, the flags of the stale days worked out."""
        time_ms, values, flags = unpacked(days)
        if not fresh:
            return FlaggedColumns(label, time_ms, values, flags)
        impossible, known = np.zeros(time_ms.shape, np.bool_), time_ms.size
        for mine in flags.values():
            if not is_absent(mine):
                impossible |= (mine & Flag.CLOCK_IMPOSSIBLE) > 0
        time_ms, order = _in_order([time_ms, *(one.time_ms for one, _ in fresh)])
        values = {
            name: _joined([values[name], *(one.values[name] for one, _ in fresh)], order)
            for name in VALUE_COLUMNS
        }
        impossible = np.concatenate([impossible, *(mine for _, mine in fresh)])[order]
        missing = time_ms.size - known
        flags = {name: _joined_flags(flags[name], missing, order) for name in VALUE_COLUMNS}
        for day in stale:
            _flag_day(day, time_ms, values, impossible, flags)
        return FlaggedColumns(label, time_ms, values, flags)


def _flag_day(
    day: int,
    time_ms: IntArray,
    values: Mapping[str, FloatArray],
    impossible: BoolArray,
    flags: dict[str, IntArray],
) -> None:
    """Set the flags of one day from the readings around it.

    Day by day, however many are asked for: the usual step between readings, which stuck goes by, is that of
    the readings given to it.
    """
    start_ms, end_ms = day * DAY_MS, (day + 1) * DAY_MS
    edges_ms = [start_ms - LOOK_BACK_MS, start_ms, end_ms, end_ms + LOOK_AHEAD_MS]
    first, begin, end, last = (int(n) for n in np.searchsorted(time_ms, edges_ms))
    if begin == end:
        return
    around = slice(first, last)
    near = local_flags(
        time_ms[around], {name: column[around] for name, column in values.items()}, impossible[around]
    )
    for name, mine in near.items():
        if is_absent(mine):
            continue
        if is_absent(flags[name]):
            flags[name] = np.zeros(time_ms.size, np.int64)
        flags[name][begin:end] = mine[begin - first : end - first]


def _in_order(parts: Sequence[IntArray]) -> tuple[IntArray, Order]:
    """Times joined and sorted, and how to sort what belongs to them; mostly they are in order already."""
    there = [part for part in parts if part.size]
    whole = np.concatenate(parts)
    if all(a[-1] <= b[0] for a, b in pairwise(there)):
        return whole, slice(None)
    order = np.argsort(whole, kind="stable")
    return whole[order], order


def _joined(parts: Sequence[FloatArray], order: Order) -> FloatArray:
    if all(is_absent(part) or np.isnan(part).all() for part in parts):
        return absent_values(sum(part.size for part in parts))
    return np.asarray(np.concatenate(parts)[order])


def _joined_flags(known: IntArray, missing: int, order: Order) -> IntArray:
    if is_absent(known):
        return absent_flags(known.size + missing)
    return np.asarray(np.concatenate([known, absent_flags(missing)])[order])


def _runs(days: Iterable[int]) -> list[Days]:
    """Days that follow each other as (first, last)."""
    listed = sorted(days)
    if not listed:
        return []
    cuts = [n + 1 for n, (a, b) in enumerate(pairwise(listed)) if b > a + 1]
    return [(part[0], part[-1]) for part in (listed[a:b] for a, b in pairwise([0, *cuts, len(listed)]))]


def _without(asked: Days, known: Iterable[Days]) -> list[Days]:
    """The days asked for that are not known yet."""
    missing, first = [], asked[0]
    for begin, end in sorted(known):
        if first < begin <= asked[1]:
            missing.append((first, begin - 1))
        if first <= end and begin <= asked[1]:
            first = max(first, end + 1)
    return [*missing, (first, asked[1])] if first <= asked[1] else missing


def _one_after_another(parts: Sequence[FlaggedColumns]) -> FlaggedColumns:
    if len(parts) == 1:
        return parts[0]
    everything = slice(None)
    return FlaggedColumns(
        parts[0].label,
        np.concatenate([part.time_ms for part in parts]),
        {name: _joined([part.values[name] for part in parts], everything) for name in VALUE_COLUMNS},
        {
            name: absent_flags(sum(part.time_ms.size for part in parts))
            if all(is_absent(part.flags[name]) for part in parts)
            else np.concatenate([part.flags[name] for part in parts])
            for name in VALUE_COLUMNS
        },
    )
