"""How well faults are found: put into recorded series at random, and how much is found where none was put.

The records bear few known faults, so faults are added to them (seeded, the same each time): what is found of
those is the recall. Of what is found beside them, nobody knows whether it is a fault: all of it counts as
false, so the precision is the lowest that can be.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache, partial

import numpy as np
import pandas as pd

from tests.domain import heads
from tests.figures import quality_daily
from tests.shared_data import shared_file
from traywarden.domain.flags import LEFT_OUT
from traywarden.domain.misplaced import in_water, pulled_out, swaps
from traywarden.domain.quality import flag_columns
from traywarden.domain.series import FloatArray, HeadColumns
from traywarden.domain.troubles import Fault, Trouble, flag_troubles

SEED = 2026
EACH = 20
"""Faults of each kind put into each record."""
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Score:
    """Of one kind of fault in one record: put in, found again, found beside them."""

    record: str
    fault: Fault
    words: str
    put: int
    found: int
    beside: int
    days: float


RECORDS: dict[str, Callable[[], HeadColumns]] = {
    "Bondville 1998": heads.bondville,
    "Ford Dry Lake 2015": heads.ford_dry_lake,
    **{f"Dry season, plot {plot}": partial(heads.dry_season, plot) for plot in range(1, 6)},
    "Glasshouse, inside": heads.glasshouse_inside,
    "Glasshouse, outside": heads.glasshouse_outside,
}


def _spots(columns: HeadColumns, name: str, random: np.random.Generator, length: int) -> list[slice]:
    """EACH stretches of `length` readings that all hold a value, a day and more apart from one another."""
    known = ~np.isnan(columns.values[name])
    step_s = float(np.median(np.diff(columns.time_ms))) / 1000
    apart = length + round(1.2 * DAY_S / step_s)
    found: list[slice] = []
    for start in random.permutation(np.arange(apart, known.size - apart)).tolist():
        spot = slice(start, start + length)
        # The readings around a single fault are there too, as a spike beside a gap proves nothing.
        if not known[start - 3 : start + length + 3].all():
            continue
        if all(abs(start - other.start) >= 2 * apart for other in found):
            found.append(spot)
        if len(found) == EACH:
            break
    return found


def _with(columns: HeadColumns, name: str, values: FloatArray) -> HeadColumns:
    return replace(columns, values={**columns.values, name: values})


def _hit(time_s: FloatArray, spot: slice, found: list[tuple[float, float]]) -> bool:
    low, high = time_s[spot.start], time_s[spot.stop - 1]
    return any(start_s <= high and end_s >= low for start_s, end_s in found)


def _score(
    record: str,
    fault: Fault,
    words: str,
    time_s: FloatArray,
    spots: list[slice],
    found: list[tuple[float, float]],
) -> Score:
    hits = sum(_hit(time_s, spot, found) for spot in spots)
    beside = sum(not any(_hit(time_s, spot, [each]) for spot in spots) for each in found)
    return Score(record, fault, words, len(spots), hits, beside, float(time_s[-1] - time_s[0]) / DAY_S)


def _flagged(columns: HeadColumns, name: str, fault: Fault) -> list[tuple[float, float]]:
    flags = flag_columns(columns, earliest_ms=0)
    time_s = columns.time_ms / 1000.0
    found: list[Trouble] = flag_troubles("", name, time_s, columns.values[name], flags[name])
    return [(t.start_s, t.end_s) for t in found if t.fault is fault]


@dataclass(frozen=True, slots=True)
class Single:
    """A fault of one reading: its column, its name in the list, the size of what it makes of a value."""

    fault: Fault
    column: str
    words: str
    least: float
    most: float
    added: bool = True


SINGLES = (
    Single(Fault.DISCONNECTED, "soil_temp_c", "soil −127 °C", -127.0, -127.0, added=False),
    Single(Fault.POWER_UP_VALUE, "soil_temp_c", "soil 85 °C", 85.0, 85.0, added=False),
    Single(Fault.SPIKE, "soil_temp_c", "soil off by 4 to 15 °C", 4.0, 15.0),
    Single(Fault.SPIKE, "air_temp_c", "air off by 6 to 25 °C", 6.0, 25.0),
    Single(Fault.SPIKE, "moisture_m3_m3", "moisture off by 0.08 to 0.30", 0.08, 0.30),
    Single(Fault.OUT_OF_RANGE, "rh_pct", "humidity 110 to 200 %", 110.0, 200.0, added=False),
)


@cache
def scores() -> list[Score]:
    found: list[Score] = []
    for record, make in RECORDS.items():
        columns = make()
        random = np.random.default_rng(SEED)
        time_s = columns.time_ms / 1000.0
        for single in SINGLES:
            name, fault = single.column, single.fault
            if np.isnan(columns.values[name]).all():
                continue
            spots, values = _spots(columns, name, random, 1), columns.values[name].copy()
            for spot in spots:
                size = random.uniform(single.least, single.most)
                values[spot] = values[spot] + size * random.choice([-1, 1]) if single.added else size
            flagged = _flagged(_with(columns, name, values), name, fault)
            found.append(_score(record, fault, single.words, time_s, spots, flagged))
        found += _stuck(record, columns, random)
        if not np.isnan(columns.values["moisture_m3_m3"]).all():
            found += _out_and_under(record, columns, random)
    return [*found, *_swapped()]


def _stuck(record: str, columns: HeadColumns, random: np.random.Generator) -> Iterator[Score]:
    step_s = float(np.median(np.diff(columns.time_ms))) / 1000
    time_s = columns.time_ms / 1000.0
    for name, hours in (("soil_temp_c", 36), ("air_temp_c", 12), ("rh_pct", 12)):
        if np.isnan(columns.values[name]).all():
            continue
        spots, values = (
            _spots(columns, name, random, round(hours * 3600 / step_s)),
            columns.values[name].copy(),
        )
        for spot in spots:
            values[spot] = values[spot.start]
        yield _score(
            record,
            Fault.STUCK,
            f"{name.split('_')[0]} for {hours} h",
            time_s,
            spots,
            _flagged(_with(columns, name, values), name, Fault.STUCK),
        )


def _clean(columns: HeadColumns, values: FloatArray) -> FloatArray:
    flags = flag_columns(_with(columns, "moisture_m3_m3", values), earliest_ms=0)["moisture_m3_m3"]
    return np.where(flags & LEFT_OUT, np.nan, values)


def _out_and_under(record: str, columns: HeadColumns, random: np.random.Generator) -> Iterator[Score]:
    """Eight hours in the air, twelve in water; only where the mix is not frozen, as nobody digs in ice."""
    time_s, wet = columns.time_ms / 1000.0, columns.values["moisture_m3_m3"]
    thawed = _clean(columns, wet)
    capacity = float(np.nanmax(wet))
    dry_line = capacity * 0.6
    step_s = float(np.median(np.diff(time_s)))
    usable = _with(columns, "moisture_m3_m3", thawed)
    for fault, hours in ((Fault.PULLED_OUT, 8), (Fault.IN_WATER, 12)):
        spots, values = _spots(usable, "moisture_m3_m3", random, round(hours * 3600 / step_s)), wet.copy()
        for spot in spots:
            shape = values[spot].shape
            out = random.uniform(0.0, 0.10)  # some mix clings to it
            level = out if fault is Fault.PULLED_OUT else capacity * random.uniform(1.1, 1.6)
            values[spot] = level + random.normal(0, 0.004, shape)
        clean = _clean(columns, values)
        if fault is Fault.PULLED_OUT:
            stretches = pulled_out(time_s, clean, dry_line)
        else:
            stretches = in_water(time_s, clean, capacity)
        words = "to 0 … 0.10 for 8 h" if fault is Fault.PULLED_OUT else "1.1 … 1.6 × highest for 12 h"
        yield _score(record, fault, words, time_s, spots, [(m.start_s, m.end_s) for m in stretches])


def _swapped() -> Iterator[Score]:
    """Bondville's sensors at 5 and 20 cm, swapped and swapped back, wherever they read differently enough."""
    random = np.random.default_rng(SEED)
    upper, lower = heads.bondville(), heads.bondville(moisture="soil_moisture_20cm_m3_m3")
    time_s = upper.time_ms / 1000.0
    a, b = (_clean(each, each.values["moisture_m3_m3"]) for each in (upper, lower))
    both = _with(upper, "moisture_m3_m3", np.where(np.abs(a - b) >= 0.10, a, np.nan))
    spots = _spots(both, "moisture_m3_m3", random, 48)
    a2, b2 = a.copy(), b.copy()
    for spot in spots:
        a2[spot], b2[spot] = b[spot], a[spot]
    found = [(s.at_s, s.at_s) for s in swaps({"a": (time_s, a2), "b": (time_s, b2)})]
    ends = [slice(edge, edge + 1) for spot in spots for edge in (spot.start, spot.stop)]
    yield _score(
        "Bondville 1998, 5 and 20 cm", Fault.SWAPPED, "for a day, 0.10 and more apart", time_s, ends, found
    )


@dataclass(frozen=True, slots=True)
class Neon:
    """What the station's own check failed in the dry season, and what is left out of it here."""

    readings: int
    failed: int
    failed_and_left_out: int
    left_out: int


def neon() -> Neon:
    table = pd.read_csv(shared_file("dry_season_soil_moisture_2022_06.csv"))
    failed = left_out = both = 0
    for plot, part in table.groupby("plot"):
        columns = heads.dry_season(int(str(plot)))
        flags = flag_columns(columns, earliest_ms=0)["moisture_m3_m3"]
        stamps = pd.to_datetime(part["start_utc"], utc=True).dt.tz_localize(None)
        theirs = pd.Series(
            part["final_qf"].to_numpy() == 1, stamps.to_numpy("datetime64[ms]").astype(np.int64)
        )
        mine = pd.Series((flags & LEFT_OUT) > 0, columns.time_ms).reindex(theirs.index)
        failed, left_out = failed + int(theirs.sum()), left_out + int(mine.sum())
        both += int((theirs & mine).sum())
    return Neon(len(table), failed, both, left_out)


def lines() -> Iterator[str]:
    yield f"Faults put into recorded series (up to {EACH} of each kind, seed {SEED}):"
    for score in scores():
        yield (
            f"  {score.record}: {score.fault} ({score.words}): {score.found} of {score.put} found, "
            f"{score.beside} beside them in {score.days:.0f} days"
        )
    for fault in dict.fromkeys(score.fault for score in scores()):
        mine = [score for score in scores() if score.fault is fault]
        put, hits, beside = (sum(getattr(s, name) for s in mine) for name in ("put", "found", "beside"))
        yield (
            f"{fault}: recall {hits / put:.2f} ({hits} of {put}), precision at least "
            f"{hits / max(1, hits + beside):.2f} ({beside} beside them)"
        )
    theirs = neon()
    yield (
        f"Dry season: the station's own check failed {theirs.failed} of {theirs.readings} moistures; "
        f"{theirs.failed_and_left_out} of those are left out here, and of the others "
        f"{theirs.left_out - theirs.failed_and_left_out}"
    )
    yield from quality_daily.lines()
