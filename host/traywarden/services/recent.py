"""The newest readings of many heads, read at once: all that judging needs where one reading follows the last.

What a rule is asked of is the newest usable value, and a flag that leaves a value out hangs on the readings
next to it; only frost looks back for days, and stuck, which leaves nothing out. So where a head has had no
frost, and what it measured last is usable, a few readings give the same evidence as a day and a half of them
(save that whether a head is calibrated is said of these few).
"""

from collections.abc import Iterable, Mapping

import numpy as np

from traywarden.domain.flags import LEFT_OUT, LOOK_BACK_MS
from traywarden.domain.frost import FREEZES_C
from traywarden.domain.quality import clock_impossible, local_flags
from traywarden.domain.readings import VALUE_COLUMNS
from traywarden.domain.series import FlaggedColumns, HeadColumns, HeadSeries
from traywarden.store import readings as reading_store
from traywarden.store.store import Tx

LEAD_MS = 1_500_000
"""So far back the last two readings before the new ones are looked for: usually a quarter hour is between."""
ASKED_OF = ("moisture_m3_m3", "soil_temp_c")


Warm = dict[int, tuple[int, int]]
"""Head → the span in which it is known to have had no frost [ms]."""


class Recent:
    """Readings of heads from shortly before the instants in `from_ms` (head → instant) up to `until_ms`.

    `warm` is brought up to date; whoever keeps it lets go of heads that late readings have come for.
    """

    def __init__(
        self,
        tx: Tx,
        from_ms: Mapping[int, int],
        until_ms: int,
        *,
        blind_after_ms: int,
        earliest_ms: int,
        warm: Warm | None = None,
    ) -> None:
        self._columns: dict[int, FlaggedColumns] = {}
        if not from_ms:
            return
        warm = {} if warm is None else warm
        first_ms = min(from_ms.values())
        since_ms, read_ms = first_ms - blind_after_ms - LOOK_BACK_MS, first_ms - LEAD_MS
        unknown = [h for h in from_ms if h not in warm or warm[h][0] > since_ms or warm[h][1] < read_ms]
        icy = reading_store.at_or_below(tx, unknown, since_ms, soil_temp_c=FREEZES_C) if unknown else set()
        heads = [head_id for head_id in from_ms if head_id not in icy]
        read = reading_store.columns_of(tx, heads, read_ms, until_ms + 1) if heads else {}
        few = [head_id for head_id in heads if not _has_two(read[head_id], from_ms[head_id])]
        if few:  # after a gap
            read |= reading_store.columns_of(tx, few, first_ms - blind_after_ms - LEAD_MS, until_ms + 1)
        for head_id in from_ms:
            columns = read.get(head_id)
            if columns is None or (columns.values["soil_temp_c"] <= FREEZES_C).any():
                warm.pop(head_id, None)
            elif columns.time_ms.size:
                known_ms = since_ms if head_id in unknown else warm[head_id][0]
                warm[head_id] = (known_ms, int(columns.time_ms[-1]))
        mild = {head_id: columns for head_id, columns in read.items() if head_id in warm}
        self._columns = _flagged(mild, earliest_ms)

    def has(self, head_ids: Iterable[int]) -> bool:
        """Whether the readings of all these heads may be asked for."""
        return all(head_id in self._columns for head_id in head_ids)

    def columns(self, head_id: int, start_ms: int, end_ms: int) -> FlaggedColumns:
        """As `HeadDays.columns` gives them, but only of the newest readings."""
        return self._columns[head_id].between(start_ms, end_ms)


def _has_two(columns: HeadColumns, after_ms: int) -> bool:
    """Whether there are two readings before the new ones."""
    return columns.time_ms.size > 1 and int(columns.time_ms[1]) <= after_ms


def _flagged(read: Mapping[int, HeadColumns], earliest_ms: int) -> dict[int, FlaggedColumns]:
    """Every head's readings with their flags, save those that leave nothing out.

    Of all heads in one go, each a day after the last one: farther than any flag looks for a neighbour.
    """
    if not read:
        return {}
    sizes = [columns.time_ms.size for columns in read.values()]
    newest_ms = max(
        (int(columns.time_ms[-1]) for columns in read.values() if columns.time_ms.size), default=0
    )
    oldest_ms = min((int(columns.time_ms[0]) for columns in read.values() if columns.time_ms.size), default=0)
    apart_ms = newest_ms - oldest_ms + LOOK_BACK_MS
    time_ms = np.concatenate([c.time_ms + n * apart_ms for n, c in enumerate(read.values())])
    impossible = np.concatenate([clock_impossible(c, earliest_ms) for c in read.values()])
    values = {name: np.concatenate([c.values[name] for c in read.values()]) for name in VALUE_COLUMNS}
    flags = local_flags(time_ms, values, impossible)
    found, end = {}, 0
    for (head_id, columns), size in zip(read.items(), sizes, strict=True):
        cut = slice(end, end := end + size)
        mine = {name: column[cut] for name, column in flags.items()}
        found[head_id] = FlaggedColumns(columns.label, columns.time_ms, columns.values, mine)
    return found


def suffices(series: HeadSeries, after_ms: int) -> bool:
    """Whether the first two of these are not among the new ones, and usable: then none before them matters.

    One is not enough: whether it is a spike shows in the one before.
    """
    if series.time_s.size < 2 or np.rint(series.time_s[1] * 1000.0) > after_ms:
        return False
    return not any(
        np.isnan(series.values(name)[:2]).any() or (series.flags[name][:2] & LEFT_OUT).any()
        for name in ASKED_OF
    )
