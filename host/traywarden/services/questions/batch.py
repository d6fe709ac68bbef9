"""How a batch did, and one batch against another: counts, percentages, times, and what may be chance."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from traywarden.domain.batch_comparison import BatchComparison, compare_batches
from traywarden.domain.batch_words import batch_sentence, comparison_sentences
from traywarden.domain.batches import DAY_MS, Batch
from traywarden.domain.germination_curve import HillCurve, hill_curve
from traywarden.domain.germination_metrics import GerminationMetrics
from traywarden.domain.proportions import Share, jeffreys, wilson
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.batches import KnownBatch, chosen_batch
from traywarden.services.questions.ground import Ground


@dataclass(frozen=True, slots=True)
class CountRow:
    """One count: what was new since the one before (or the sowing), and all up by then. Days since sowing."""

    at: datetime
    day: float
    newly_up: int
    up: int
    up_pct: float | None


@dataclass(frozen=True, slots=True)
class BatchCard:
    """One batch. `share` is Wilson's interval, `share_jeffreys` that of Jeffreys; None without seeds sown.

    `half_from` and `half_to` are the visits between which half of those that came up were up, `half_d` the
    age by a straight line between them, and `spread_d` the days in which four in five came up; None where
    those visits lie too far apart to say.
    """

    tray: str
    name: str
    crop: str
    lot: str | None
    place: str | None
    mix: str | None
    sowing_entry: int
    sown_at: datetime
    seeds_sown: int | None
    up: int
    filled_cells: int | None
    still_rising: bool
    share: Share | None
    share_jeffreys: Share | None
    half_from: datetime | None
    half_to: datetime | None
    half_d: float | None
    spread_d: float | None
    counts: tuple[CountRow, ...]
    metrics: GerminationMetrics | None
    curve: HillCurve | None
    sentence: str
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BatchAnswer:
    """Of one batch, or of two: then with the comparison, its sentences, and what else was not the same."""

    garden: str
    first: BatchCard
    second: BatchCard | None
    comparison: BatchComparison | None
    sentences: tuple[str, ...]
    differed: tuple[str, ...]


def ask_batch(ground: Ground, tray: str, other: str = "") -> BatchAnswer:
    """One batch, or two compared. A batch is named by its tray, or by a day too, as “A1@2026-03-20”.

    Raises UnknownNameError, UsageError (a batch with itself), ShortOfDataError (nothing sown or counted).
    """
    first = chosen_batch(ground, tray)
    second = chosen_batch(ground, other) if other else None
    if second is not None and second.batch.sowing == first.batch.sowing:
        raise UsageError(
            f"“{tray}” and “{other}” are one sowing; name an earlier one by a day it stood there, "
            f"as in {first.tray.name}@2026-03-20."
        )
    for each in (first, second):
        if each is not None and not each.batch.counts:
            raise ShortOfDataError(
                f"Tray “{each.tray.name}” was not counted after it was sown on "
                f"{ground.at(each.batch.sowing.at_ms):%Y-%m-%d}; "
                f'count what is up, none too, with: traywarden emerged "{each.tray.name}" --count 0'
            )
    names = [_name(first, ground, second)] + ([_name(second, ground, first)] if second else [])
    cards = [card(ground, each, name) for each, name in zip((first, second), names, strict=False) if each]
    if second is None:
        return BatchAnswer(ground.garden.name, cards[0], None, None, (), ())
    found = compare_batches(first.batch, second.batch)
    return BatchAnswer(
        ground.garden.name,
        cards[0],
        cards[1],
        found,
        tuple(comparison_sentences(found, *names)),
        tuple(_differed(first, second, ground)),
    )


def card(ground: Ground, known: KnownBatch, name: str) -> BatchCard:
    """Everything there is to say about one batch."""
    batch = known.batch
    metrics = batch.metrics()
    rows = _rows(ground, batch)
    day_d, new = batch.steps()
    sown = batch.sown
    share = wilson(batch.up, sown) if sown and batch.counts else None
    half = batch.reached(0.5)
    curve = hill_curve(day_d, np.cumsum(new) * 100 / sown) if sown and batch.up else None
    return BatchCard(
        known.tray.name,
        name,
        known.crop_name,
        known.lot.name if known.lot else None,
        known.place.name if known.place else None,
        known.mix.name if known.mix else None,
        batch.sowing.entry_id,
        ground.at(batch.sowing.at_ms),
        sown,
        batch.up,
        batch.filled[0] if batch.filled else None,
        batch.still_rising,
        share,
        jeffreys(batch.up, sown) if sown and batch.counts else None,
        None if half is None else ground.at(batch.sowing.at_ms + round(half.from_d * DAY_MS)),
        None if half is None else ground.at(batch.sowing.at_ms + round(half.to_d * DAY_MS)),
        None if half is None else half.at_d,
        batch.spread_d,
        rows,
        metrics,
        curve,
        batch_sentence(name, batch, share),
        tuple(_remarks(ground, known)),
    )


def _rows(ground: Ground, batch: Batch) -> tuple[CountRow, ...]:
    rows, up = [], 0
    for count in batch.counts:
        up += count.newly_up
        pct = round(up * 100 / batch.sown, 1) if batch.sown else None
        rows.append(
            CountRow(ground.at(count.to_ms), round(batch.days(count.to_ms), 2), count.newly_up, up, pct)
        )
    return tuple(rows)


def _name(known: KnownBatch, ground: Ground, other: KnownBatch | None) -> str:
    """The tray, told from another sowing of the same tray by its day."""
    same = other is not None and other.tray.tray_id == known.tray.tray_id
    return known.tray.name + (f" of {ground.at(known.batch.sowing.at_ms):%Y-%m-%d}" if same else "")


def _remarks(ground: Ground, known: KnownBatch) -> list[str]:
    batch, told = known.batch, []
    entry = batch.sowing.entry_id
    if batch.more_than_sown:
        told.append(
            f"more came up than were sown, so that no share can be given; correct the sowing with: "
            f"traywarden journal correct {entry} --seeds-per-cell …"
        )
    elif batch.sown is None:
        told.append(
            f"how many seeds were sown is not written down; add it with: "
            f"traywarden journal correct {entry} --seeds-per-cell …"
        )
    for at_ms, up, before in batch.fell:
        told.append(
            f"on {ground.at(at_ms):%Y-%m-%d} only {up} were counted after {before}: "
            "what was lost is not taken off, and what came up meanwhile is not seen"
        )
    if batch.up and batch.still_rising and len(batch.counts) == 1:
        told.append(
            "it was counted once only: count every day or two to see how many come up, how soon, how evenly"
        )
    elif batch.still_rising and batch.rose:
        told.append("the last count still brought new seedlings: count again")
    elif batch.up and batch.still_rising:
        told.append(
            f"by how it came up so far about {max(1, round(batch.to_come))} more can be expected: count again"
        )
    if batch.up and batch.spread_d is None and len(batch.counts) > 1:
        told.append(
            "how evenly they came up cannot be told from these counts: count every day or two, "
            "from before the first is up"
        )
    if batch.seen_ms is not None and batch.counts and batch.seen_ms < batch.counts[0].to_ms:
        told.append(f"some were seen up, not counted, on {ground.at(batch.seen_ms):%Y-%m-%d}")
    if known.moved:
        told.append("it was moved while it came up; the place named is where it stood longest")
    return told


def _differed(a: KnownBatch, b: KnownBatch, ground: Ground) -> list[str]:
    pairs = (
        ("crop", a.crop_name, b.crop_name),
        ("lot", a.lot.name if a.lot else "not known", b.lot.name if b.lot else "not known"),
        ("place", a.place.name if a.place else "not known", b.place.name if b.place else "not known"),
        ("mix", a.mix.name if a.mix else "not known", b.mix.name if b.mix else "not known"),
        *(
            (("sown", *(f"{ground.at(x.batch.sowing.at_ms):%Y-%m-%d}" for x in (a, b))),)
            if abs(a.batch.sowing.at_ms - b.batch.sowing.at_ms) > DAY_MS
            else ()
        ),
        *(
            (("depth", *(_depth(x, ground) for x in (a, b))),)
            if a.batch.sowing.data.get("depth_mm") != b.batch.sowing.data.get("depth_mm")
            else ()
        ),
    )
    return [f"{what}: {one} against {other}" for what, one, other in pairs if one != other]


def _depth(known: KnownBatch, ground: Ground) -> str:
    depth_mm = known.batch.sowing.data.get("depth_mm")
    return "not known" if depth_mm is None else ground.display.depth(depth_mm)
