"""What the garden's own records taught of each crop: how many times the table's days its seed takes here."""

from dataclasses import dataclass
from datetime import datetime

from traywarden.domain.factors import BAND, Belief
from traywarden.services.questions.emergence_answer import Done
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.nursery import Lesson, Nursery
from traywarden.store.crops import crop_named, load_crops


@dataclass(frozen=True, slots=True)
class LearnedLot:
    """A lot's factor: 80 % band and middle."""

    lot: str
    factor: Done


@dataclass(frozen=True, slots=True)
class LearnedFrom:
    """One sowing: its journal entry, what it alone says of the factor, or why it taught nothing."""

    entry: int
    tray: str
    sown: datetime
    lot: str | None
    looks: int
    alone: float | None
    why_not: str


@dataclass(frozen=True, slots=True)
class LearnedCrop:
    """One crop: its factor before (the table, with its error) and after what was seen here."""

    crop: str
    before: Done
    after: Done
    taught_by: int
    basis_says: str
    lots: tuple[LearnedLot, ...]
    sowings: tuple[LearnedFrom, ...]


@dataclass(frozen=True, slots=True)
class LearnedAnswer:
    garden: str
    crops: tuple[LearnedCrop, ...]


def ask_learned(ground: Ground, crop: str = "") -> LearnedAnswer:
    """The learned factor of every crop that was sown, or of one.

    Raises UnknownNameError.
    """
    nursery = Nursery(ground)
    wanted = crop_named(crop).key if crop else ""
    keys = dict.fromkeys(s.crop.key for s in nursery.sowings if s.crop)
    found = [_crop(ground, nursery, key) for key in keys if wanted in ("", key)]
    return LearnedAnswer(ground.garden.name, tuple(found))


def _crop(ground: Ground, nursery: Nursery, key: str) -> LearnedCrop:
    learned, lessons = nursery.learned(key)
    lots = [
        LearnedLot(ground.lots[lot_id].name, _done(belief))
        for lot_id, belief in learned.lots.items()
        if lot_id is not None and lot_id in ground.lots
    ]
    return LearnedCrop(
        load_crops()[key].name,
        _done(learned.prior),
        _done(learned.crop),
        sum(lesson.told is not None for lesson in lessons),
        nursery.curve(key).in_words(ground.display),
        tuple(lots),
        tuple(_from(ground, learned.prior, lesson) for lesson in lessons),
    )


def _from(ground: Ground, prior: Belief, lesson: Lesson) -> LearnedFrom:
    sowing = lesson.sowing
    alone = None
    if lesson.told is not None and sowing.up is not None:
        wide = Belief(prior.weights * 0 + 1 / prior.weights.size)  # what this sowing says without the table
        alone = round(wide.given(lesson.told.log_likelihood).quantiles((0.5,))[0], 3)
    return LearnedFrom(
        sowing.entry.entry_id,
        sowing.tray.name,
        ground.at(sowing.entry.at_ms),
        sowing.lot.name if sowing.lot else None,
        sum(not seen.implied for seen in sowing.seen),
        alone,
        lesson.why_not,
    )


def _done(belief: Belief) -> Done:
    return Done(*(round(x, 3) for x in belief.quantiles(BAND)))
