"""How many seeds to sow in each cell, and what it takes to have so many plants."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from traywarden.domain.cell_fill import CLUSTERING, clustering_chances
from traywarden.domain.emergence_forecast import LEVEL, Middle
from traywarden.domain.garden import Lot, Place, PlaceKind
from traywarden.domain.lot_germination import interval_of
from traywarden.domain.place_emergence import SHARE, PlaceEmergence, place_emergence
from traywarden.domain.sowing_costs import THIN_S, Costs
from traywarden.domain.sowing_plan import (
    CERTAIN,
    FILL,
    LEAST_GAIN,
    MOST_PER_CELL,
    SowingPlan,
    Wanted,
    sowing_plan,
)
from traywarden.errors import UnknownNameError, UsageError
from traywarden.services.lots import Told, lot_knowledge, seeds_left
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.seed_doubt import Doubt, Narrower
from traywarden.services.questions.seed_words import (
    ANY,
    WORTH_SAYING,
    money_sentence,
    narrower_sentence,
    other_ways,
    own_words,
    poor_sentence,
    seeds_remarks,
    seeds_sentence,
)
from traywarden.services.sowing_record import sowing_record
from traywarden.store import crops as crop_store
from traywarden.store import garden as garden_store
from traywarden.store.seed_facts import load_seed_facts

MOST_CELLS = 5000
MOST_OF_ALL = 20
WARM_DAYS = 3


@dataclass(frozen=True, slots=True)
class SeedsAsked:
    """A lot or a crop, and what is wanted of it. Prices in the grower's own money; None: not known."""

    what: str
    plants: int | None = None
    cells: int | None = None
    tray: str = ""
    place: str = ""
    fill: float = FILL
    certain: float = CERTAIN
    gain: float = LEAST_GAIN
    most: int = MOST_PER_CELL
    soil_temp_c: float | None = None
    seed_price: float | None = None
    cell_price: float | None = None
    hour_price: float | None = None
    thin_s: float = THIN_S


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """A kind of place: part of the seeds able to sprout that came up in its trays; `next_…`: in the next."""

    kind: str
    covered: bool
    trays: int
    share: float
    low: float
    high: float
    next_low: float
    next_high: float


@dataclass(frozen=True, slots=True)
class SeedsAnswer:
    """`comes_up` is `germination` × `place_share` × `warmth_share`; parts of 1, with 80 % intervals.

    `chosen` seeds go in each of `cells`: row `plan.left` where the seeds left do not reach for `plan.best`.
    `narrower`: what would tell more. `advice` stands beside the sentence: other ways, the temperature, what
    would tell more, and money.
    """

    garden: str
    crop: str
    lot: str | None
    place: str
    cells: int
    plants: int | None
    certain: float
    chosen: int
    sentence: str
    plan: SowingPlan
    germination: Middle
    place_share: Middle
    comes_up: Middle
    evidence: tuple[Told, ...]
    places: tuple[PlaceRow, ...]
    clustering: float
    filled_trays: int
    warmth_share: float | None
    seeds_left: int | None
    seed_price: float | None
    narrower: tuple[Narrower, ...]
    advice: tuple[str, ...]
    remarks: tuple[str, ...]


def ask_seeds(ground: Ground, asked: SeedsAsked) -> SeedsAnswer:
    """Seeds in each cell for a wanted fill, and seeds, cells and money for so many plants.

    Raises UnknownNameError (no such lot or crop, tray or place), UsageError (a number that cannot be).
    """
    _check(asked)
    lot, key = _what(ground, asked.what)
    crop = crop_store.crop_name(key)
    cells = _cells(ground, asked)
    where, kind, covered = _place(ground, asked)
    known = lot_knowledge(ground, lot, key, ground.now_ms)
    record = sowing_record(ground, lot)
    kinds = {str(k): k.covered for k in PlaceKind} | {ANY: False, kind: covered}
    place = place_emergence(record.others, kinds)
    warmth = None if asked.soil_temp_c is None else _warmth(key, asked.soil_temp_c, crop, ground)
    doubt = Doubt(known, place, kind, covered, record.own, 1.0 if warmth is None else warmth)
    forecast = doubt.forecast()
    clustering = clustering_chances(record.filled)
    price = asked.seed_price
    if price is None and lot is not None and lot.price is not None and lot.seeds:
        price = lot.price / lot.seeds
    costs = Costs(price, asked.cell_price, asked.hour_price, asked.thin_s)
    wanted = Wanted(cells, asked.plants, asked.fill, asked.certain, asked.gain, asked.most)
    left = seeds_left(ground, lot) if lot else None
    plan = sowing_plan(forecast, clustering, wanted, costs, left)
    row = plan.left or plan.best
    narrower = doubt.narrower(row, clustering)
    advice = [
        *other_ways(plan, wanted, left),
        *poor_sentence(plan, wanted, warmth),
        *_warm_now(ground, asked, key, crop),
        *narrower_sentence(narrower, row),
        money_sentence(row, plan, costs),
    ]
    remarks = [*known.remarks, *seeds_remarks(forecast.place, record)]
    return SeedsAnswer(
        ground.garden.name,
        crop,
        lot.name if lot else None,
        where,
        row.cells,
        asked.plants,
        asked.certain,
        row.per_cell,
        seeds_sentence(f"“{lot.name}”" if lot else crop, where, plan, wanted, left),
        plan,
        forecast.germination,
        forecast.place,
        forecast.comes_up,
        (*known.told, *own_words(ground, record)),
        tuple(_place_rows(place, {tray.kind for tray in record.others})),
        float(clustering @ CLUSTERING),
        len(record.filled),
        warmth,
        left,
        price,
        narrower,
        tuple(advice),
        tuple(remarks),
    )


def _check(asked: SeedsAsked) -> None:
    if asked.plants is not None and not 1 <= asked.plants <= MOST_CELLS:
        raise UsageError(f"{asked.plants} plants cannot be asked for; give 1 to {MOST_CELLS}.")
    if asked.cells is not None and not 1 <= asked.cells <= MOST_CELLS:
        raise UsageError(f"{asked.cells} cells cannot be sown; give 1 to {MOST_CELLS}.")
    for name, share in (("fill", asked.fill), ("sure", asked.certain), ("gain", asked.gain)):
        if not 0 < share < 1:
            raise UsageError(f"A part of {share:g} for --{name} cannot be; write it like 95%.")
    if not 1 <= asked.most <= MOST_OF_ALL:
        raise UsageError(f"{asked.most} seeds in a cell cannot be sown; give 1 to {MOST_OF_ALL} with --most.")
    for name, price in (("seed", asked.seed_price), ("cell", asked.cell_price), ("hour", asked.hour_price)):
        if price is not None and not price >= 0:
            raise UsageError(f"A price of {price:g} for a {name} cannot be; give 0 or more.")
    if not 0 <= asked.thin_s <= 3600:
        raise UsageError(f"{asked.thin_s:g} seconds to thin a seedling cannot be; give 0 to 3600.")


def _what(ground: Ground, what: str) -> tuple[Lot | None, str]:
    """The lot of that name, else the crop."""
    try:
        lot = garden_store.lot_named(ground.tx, what)
    except UnknownNameError as no_lot:
        try:
            return None, crop_store.crop_named(what).key
        except UnknownNameError as no_crop:
            names = [*no_lot.known, *no_crop.known]
            raise UnknownNameError("lot or crop", what, names) from no_crop
    return lot, lot.crop


def _cells(ground: Ground, asked: SeedsAsked) -> int | None:
    """Cells to be sown; None: as many as the plants take."""
    if asked.cells is not None:
        return asked.cells
    if asked.tray:
        cells = garden_store.tray_named(ground.tx, asked.tray).cells
        if cells:
            return cells
        raise UsageError(f"How many cells tray “{asked.tray}” has is not written down; add --cells 72.")
    if asked.plants is not None:
        return None
    raise UsageError(
        "Say how many plants are wanted, --plants 60, or which cells are sown: --cells 72 or --tray A1."
    )


def _place(ground: Ground, asked: SeedsAsked) -> tuple[str, str, bool]:
    """Words for where it will stand, the kind of place, and whether that is under cover."""
    place = _where(ground, asked)
    if place is not None:
        return f"“{place.name}”", str(place.kind), place.covered
    if asked.place:
        kind = PlaceKind(asked.place.lower())
        return str(kind), str(kind), kind.covered
    return ANY, ANY, False


def _where(ground: Ground, asked: SeedsAsked) -> Place | None:
    """The place named, or that of the tray; None where only a kind of place is, or nothing."""
    if asked.place:
        return _named_place(ground, asked.place)
    if asked.tray:
        return ground.place_of(garden_store.tray_named(ground.tx, asked.tray).tray_id, ground.now_ms)
    return None


def _named_place(ground: Ground, words: str) -> Place | None:
    """The place of that name; None where it is only a kind of place that is named."""
    names = {place.name for place in ground.places.values()}
    if words not in names and words.lower() in list(PlaceKind):
        return None
    return garden_store.place_named(ground.tx, words)


def _warmth(key: str, soil_temp_c: float, crop: str, ground: Ground) -> float:
    facts = load_seed_facts().get(key)
    share = facts.normal_share(soil_temp_c) if facts else None
    if share is None:
        raise UsageError(
            f"How many seedlings of {crop} come up at {ground.display.temp(soil_temp_c)} is not published; "
            "leave --temp out."
        )
    return share


def _warm_now(ground: Ground, asked: SeedsAsked, key: str, crop: str) -> list[str]:
    """A sentence where the mix of the place has lately been too cold or too warm for the seed."""
    facts, place = load_seed_facts().get(key), _where(ground, asked)
    if asked.soil_temp_c is not None or facts is None or place is None:
        return []
    start_ms = ground.now_ms - WARM_DAYS * DAY_MS
    heads = ground.place_hourly(place.place_id, "soil", start_ms, ground.now_ms + 1)
    means = [float(np.nanmean(h.soil_temp_c)) for h in heads if np.isfinite(h.soil_temp_c).any()]
    if not means:
        return []
    mean_c = sum(means) / len(means)
    share = facts.normal_share(mean_c)
    if share is None or share >= WORTH_SAYING:
        return []
    verified = "" if facts.normal_verified == "yes" else ", not verified"
    return [
        f"Mind the temperature: the mix in {place.name} was at {ground.display.temp(mean_c)} over the last "
        f"{WARM_DAYS} days, where {share * 100:.0f} of 100 seeds of {crop} come up that do at their best "
        f"temperature ({facts.normal_source}{verified}); --temp reckons that in."
    ]


def _place_rows(place: PlaceEmergence, kinds: set[str]) -> Iterable[PlaceRow]:
    """Kinds of place that trays were counted in."""
    for kind in PlaceKind:
        if str(kind) not in kinds:
            continue
        share, low, high = place.kind_share(str(kind), LEVEL)
        upcoming = interval_of(SHARE, place.next_tray(str(kind), kind.covered), LEVEL)
        yield PlaceRow(str(kind), kind.covered, place.trays[str(kind)], share, low, high, *upcoming)
