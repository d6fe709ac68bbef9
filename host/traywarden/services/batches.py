"""The garden's batches: every sowing with its counts, and where, in what and from what it was raised."""

from collections.abc import Iterable
from dataclasses import dataclass

from traywarden.domain.batches import Batch, batch_of
from traywarden.domain.crops import Crop
from traywarden.domain.garden import Lot, Mix, Place, Tray
from traywarden.domain.journal import Stay
from traywarden.domain.sown_spans import SownSpan, sown_spans
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.journal import seeds_sown
from traywarden.services.questions.days import day_of
from traywarden.services.questions.ground import Ground
from traywarden.store import garden as garden_store

MOST_NAMED = 5


def named(trays: Iterable[str]) -> str:
    """Names of trays, each once, and of many only the first few.

    >>> named(["B", "A", "B"]), named("GFEDCBA")
    ('A, B', 'A, B, C, D and 3 more')
    """
    names = sorted(set(trays))
    if len(names) <= MOST_NAMED:
        return ", ".join(names)
    return f"{', '.join(names[: MOST_NAMED - 1])} and {len(names) - MOST_NAMED + 1} more"


@dataclass(frozen=True, slots=True)
class KnownBatch:
    """A batch with the names around it. `place` and `mix`: those it was with longest up to its last count."""

    batch: Batch
    tray: Tray
    crop: Crop | None
    crop_key: str
    lot: Lot | None
    place: Place | None
    mix: Mix | None
    moved: bool

    @property
    def crop_name(self) -> str:
        return self.crop.name if self.crop else self.crop_key or "seed"


def known_batch(ground: Ground, tray: Tray, span: SownSpan) -> KnownBatch:
    """The batch of a sowing as it stood at the ground's instant."""
    sowing = span.sowing
    batch = batch_of(span, seeds_sown(sowing, tray))
    end_ms = batch.counts[-1].to_ms if batch.counts else batch.ended_ms or ground.now_ms
    places = _longest(ground.facts.tray_places, tray.tray_id, sowing.at_ms, end_ms)
    mixes = _longest(ground.facts.tray_mixes, tray.tray_id, sowing.at_ms, end_ms)
    lot = ground.lots.get(sowing.lot_id or -1)
    return KnownBatch(
        batch,
        tray,
        ground.crop_of(sowing),
        str(sowing.data.get("crop") or (lot.crop if lot else "")),
        lot,
        ground.places.get(places[0]) if places else None,
        ground.mixes.get(mixes[0]) if mixes else None,
        len(places) > 1,
    )


def garden_batches(ground: Ground) -> list[KnownBatch]:
    """Every sowing up to the ground's instant, oldest first."""
    found = [
        known_batch(ground, tray, span)
        for tray in ground.trays.values()
        for span in sown_spans(ground.facts, tray.tray_id, ground.now_ms)
    ]
    return sorted(found, key=lambda known: (known.batch.sowing.at_ms, known.batch.sowing.entry_id))


def chosen_batch(ground: Ground, words: str) -> KnownBatch:
    """The batch of “A1”, or of “A1@2026-03-20”: what stood sown in A1 on that day; default the latest.

    Raises UnknownNameError (no such tray), UsageError (the day cannot be read), ShortOfDataError (nothing was
    sown in it by then).
    """
    name, at, day = words.rpartition("@")
    if not at or any(tray.name == words for tray in ground.trays.values()):
        name, day = words, ""
    tray = garden_store.tray_named(ground.tx, name)
    spans = sown_spans(ground.facts, tray.tray_id, ground.now_ms)
    if day:
        wanted = day_of(ground, day)
        if wanted is None:
            raise UsageError(f"After @ in “{words}” a day is needed, as in {name}@2026-03-20.")
        spans = [span for span in spans if ground.at(span.sowing.at_ms).date() <= wanted]
    if not spans:
        since = f" by {day}" if day else ""
        raise ShortOfDataError(
            f"Nothing was sown in tray “{tray.name}”{since}; write the sowing with: "
            f'traywarden sowed "{tray.name}" --crop … --seeds-per-cell … --at …'
        )
    return known_batch(ground, tray, spans[-1])


def _longest(stays: list[Stay], tray_id: int, start_ms: int, end_ms: int) -> list[int]:
    """What the tray was with in that span, that of the longest stay first."""
    total: dict[int, int] = {}
    for stay in stays:
        if stay.subject == tray_id and (span := stay.overlap(start_ms, max(end_ms, start_ms + 1))):
            total[stay.where] = total.get(stay.where, 0) + span[1] - span[0]
    return sorted(total, key=lambda where: -total[where])
