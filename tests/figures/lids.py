"""How well openings are found in a glasshouse whose vent positions were recorded.

Parameters were chosen on every other day (the first, third …); what counts as result is of the days between.
The vents are moved by a climate computer that opens them by degrees and for minutes, and the house is heated:
harder to see than a lid that a person lifts off a frame, and no proof for one.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tests.domain.made_frames import MadeFrame, made_frame
from tests.figures.records import seconds
from tests.shared_data import shared_file
from traywarden.domain.lids import LID, VENTS, LidParams, Opening, find_openings

Floats = NDArray[np.float64]
CLOSED_PCT, OPEN_PCT, LESSER_PCT = 3.0, 10.0, 3.0
OPENS_WITHIN_S = 1200.0
EARLY_S, LATE_S = 360.0, 660.0
"""An opening counts as found when it was seen from so long before the last closed reading up to so long after
the first open one: one reading and two."""
SHIFTS_H = (-3, -2, 2, 3)
"""Openings moved by so many hours hit by chance only: what a busy vent gives away for nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Vents:
    """Air inside and outside [°C], and how far the wider of the two rows of vents stood open [%]."""

    time_s: Floats
    inside_c: Floats
    outside_time_s: Floats
    outside_c: Floats
    vent_pct: Floats


@dataclass(frozen=True, slots=True)
class VentOpening:
    closed_s: float  # last reading at which it was still closed
    open_s: float  # first at which it was open
    shut_s: float  # first at which it was closed again
    widest_pct: float


@dataclass(frozen=True, slots=True)
class Score:
    """`lesser`: seen where the vents opened, but by less than what counts as an opening."""

    true: int
    hit: int
    seen: int
    lesser: int
    chance_hit: float
    chance_precision: float
    closing_off_min: tuple[float, ...]

    @property
    def recall(self) -> float:
        return self.hit / self.true

    @property
    def precision(self) -> float:
        return (self.hit + self.lesser) / self.seen

    @property
    def strict_precision(self) -> float:
        return self.hit / self.seen


@cache
def vents() -> Vents:
    inside = pd.read_csv(shared_file("glasshouse_inside_2022.csv"))
    outside = pd.read_csv(shared_file("glasshouse_outside_2022.csv"))
    stamps = [
        seconds(pd.DatetimeIndex(pd.to_datetime(table["Date"], format="%m/%d/%Y %H:%M")))
        for table in (inside, outside)
    ]
    wider = inside[["VentLee_pct", "VentWind_pct"]].max(axis=1)
    return Vents(
        stamps[0],
        inside["Tair"].to_numpy(np.float64),
        stamps[1],
        outside["Tout"].to_numpy(np.float64),
        wider.to_numpy(np.float64),
    )


def vent_openings(record: Vents, open_pct: float = OPEN_PCT) -> list[VentOpening]:
    """From closed to open within twenty minutes, until closed again."""
    found: list[VentOpening] = []
    closed_s: float | None = None
    since: tuple[float, float] | None = None
    widest, is_open = 0.0, False
    for at_s, pct in zip(record.time_s.tolist(), record.vent_pct.tolist(), strict=True):
        if not np.isfinite(pct):
            continue
        if is_open:
            widest = max(widest, pct)
            if pct < CLOSED_PCT:
                if since is not None:
                    found.append(VentOpening(*since, at_s, widest))
                is_open, closed_s = False, at_s
        elif pct < CLOSED_PCT:
            closed_s = at_s
        elif pct >= open_pct:
            quick = closed_s is not None and at_s - closed_s <= OPENS_WITHIN_S
            since = (closed_s, at_s) if quick and closed_s is not None else None
            is_open, widest = True, pct
    return found


def chosen_on(at_s: float, record: Vents) -> bool:
    """Whether the day is one of those the parameters were chosen on."""
    return (int(at_s // 86_400) - int(record.time_s[0] // 86_400)) % 2 == 0


def score(
    params: LidParams = VENTS,
    *,
    chosen: bool,
    every_min: int = 0,
    open_pct: float = OPEN_PCT,
    least_min: float = 0.0,
) -> Score:
    """Precision and recall on the days the parameters were chosen on, or on the others.

    `every_min` thins the inside readings; `open_pct` and `least_min` ask only for wider, longer openings.
    """
    record = vents()
    true = [
        v
        for v in vent_openings(record, open_pct)
        if chosen_on(v.open_s, record) == chosen and v.shut_s - v.closed_s >= least_min * 60
    ]
    kept = _thinned(record.time_s, every_min)
    seen = [
        o
        for o in find_openings(
            record.time_s[kept],
            record.inside_c[kept],
            record.outside_time_s,
            record.outside_c,
            params,
        )
        if chosen_on(o.opened_s, record) == chosen
    ]
    pairs = _pairs([o.opened_s for o in seen], true)
    lesser = sum(
        n not in pairs and _opened_a_little(record, o.opened_s, o.seen_s) for n, o in enumerate(seen)
    )
    hits, right = [], []
    for shift_s in (h * 3600.0 for h in SHIFTS_H):
        by_chance = _pairs([o.opened_s + shift_s for o in seen], true)
        hits.append(len(by_chance))
        right += [
            n in by_chance or _opened_a_little(record, o.opened_s + shift_s, o.seen_s + shift_s)
            for n, o in enumerate(seen)
        ]
    off = tuple(
        (closed_s - true[pairs[n]].shut_s) / 60
        for n, o in enumerate(seen)
        if n in pairs and (closed_s := o.closed_s) is not None
    )
    return Score(
        len(true), len(pairs), len(seen), lesser, float(np.mean(hits)), float(np.mean(right or [False])), off
    )


def _thinned(time_s: Floats, every_min: int) -> NDArray[np.bool_]:
    if not every_min:
        return np.full(time_s.size, True)
    step = np.floor(time_s / (every_min * 60))
    return np.concatenate(([True], np.diff(step) > 0))


def _pairs(seen_s: list[float], true: list[VentOpening]) -> dict[int, int]:
    """Each opening that was seen beside the true one it is, nearest first, one to one."""
    near = sorted(
        (abs(at_s - v.closed_s), n, k)
        for n, at_s in enumerate(seen_s)
        for k, v in enumerate(true)
        if v.closed_s - EARLY_S <= at_s <= v.open_s + LATE_S
    )
    pairs: dict[int, int] = {}
    taken: set[int] = set()
    for _, n, k in near:
        if n not in pairs and k not in taken:
            pairs[n] = k
            taken.add(k)
    return pairs


def _opened_a_little(record: Vents, opened_s: float, seen_s: float) -> bool:
    around = (record.time_s >= opened_s - EARLY_S) & (record.time_s <= seen_s + LATE_S)
    pct = record.vent_pct[around]
    pct = pct[np.isfinite(pct)]
    return bool(pct.size) and float((pct - np.minimum.accumulate(pct)).max()) >= LESSER_PCT


def lines() -> Iterator[str]:
    for chosen, words in ((True, "days they were chosen on"), (False, "other days")):
        yield f"Vent openings of the glasshouse, by its air alone, {words}:"
        for name, found in (
            ("every opening to 10 % and more", score(chosen=chosen)),
            ("those to 20 % and more, 15 min and longer", score(chosen=chosen, open_pct=20, least_min=15)),
            ("every opening, readings every 10 min", score(chosen=chosen, every_min=10)),
            ("every opening, readings every 15 min", score(chosen=chosen, every_min=15)),
        ):
            yield (
                f"  {name}: {found.hit} of {found.true} found (recall {found.recall:.2f}; "
                f"by chance {found.chance_hit / found.true:.2f})"
            )
            if "20 %" not in name:
                off = np.abs(found.closing_off_min)
                yield (
                    f"    of {found.seen} seen, {found.hit + found.lesser} at an opening of any size "
                    f"(precision {found.precision:.2f}; by chance {found.chance_precision:.2f}), "
                    f"{found.hit} at one of 10 % and more ({found.strict_precision:.2f})"
                )
                if off.size:
                    yield (
                        f"    closing seen after {off.size} of {found.hit}, off by {np.median(off):.0f} min "
                        f"in the middle, {np.quantile(off, 0.9):.0f} min at most in nine of ten"
                    )
    yield "Made-up frame, one lump of air and mix, lid opened at 25 °C, clouds that take 80 % of the sun:"
    for name, params in (("lid of a frame", LID), ("vents of a house", VENTS)):
        for every_min in (5, 10, 15):
            hit, true, seen = made(params, every_min)
            yield (
                f"  asked for the {name}, readings every {every_min} min: {hit} of {true} openings found, "
                f"{hit} of {seen} right"
            )


def made(params: LidParams, every_min: int) -> tuple[int, int, int]:
    """Openings found, true and seen in three made-up frames of fifteen days."""
    hit = true = seen = 0
    for seed, cloud in ((7, 0.2), (8, 0.5), (9, 0.9)):
        frame = made_frame(every_s=60.0 * every_min, cloud=cloud, days=15, seed=seed)
        found = find_openings(frame.time_s, frame.inside_c, frame.time_s, frame.outside_c, params)
        hit, true, seen = hit + hits(frame, found), true + len(frame.opened_s), seen + len(found)
    return hit, true, seen


def hits(frame: MadeFrame, seen: list[Opening], within_s: float = 900.0) -> int:
    """Openings seen that are one of the true ones, each counted once."""
    left, found = list(frame.opened_s), 0
    for opening in seen:
        near = [at for at in left if abs(at - opening.opened_s) <= within_s]
        if near:
            left.remove(min(near, key=lambda at: abs(at - opening.opened_s)))
            found += 1
    return found
