"""How many seeds to sow, in words."""

from collections.abc import Iterable, Sequence

from traywarden.domain.emergence_forecast import Middle
from traywarden.domain.sowing_costs import Costs
from traywarden.domain.sowing_plan import SowingPlan, SowingRow, Wanted
from traywarden.services.batches import named
from traywarden.services.lots import Told
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.seed_doubt import TEST_SEEDS, Narrower
from traywarden.services.sowing_record import SowingRecord

ANY = "any place"
MOST_OWN = 3
WORTH_SAYING = 0.9
"""Share of the best germination below which the temperature of the mix is spoken of (no source)."""


def seeds_sentence(name: str, where: str, plan: SowingPlan, wanted: Wanted, left: int | None) -> str:
    """What to sow and what comes of it."""
    row = plan.left or plan.best
    place = "" if where == ANY else f", to stand in {where}"
    if plan.left is None:
        seeds = f"{row.per_cell} seed{'' if row.per_cell == 1 else 's'}"
        said = f"Sow {seeds} of {name} in each of {row.cells} cells{place} ({row.seeds} seeds)"
    else:
        said = f"Of the {left} seeds left of {name} sow {row.per_cell} in each of {row.cells} cells{place}"
    filled = (
        f"about {row.filled_middle} cells fill, {row.filled_low} to {row.filled_high} in four trays of five"
    )
    if wanted.plants is None or row.wanted_chance is None:
        return f"{said}: {filled}."
    if wanted.plants > row.cells:
        return f"{said}: {filled}. {wanted.plants} plants need more cells."
    return f"{said}: {filled}. {wanted.plants} plants or more come of it {chance(row.wanted_chance)}."


def other_ways(plan: SowingPlan, wanted: Wanted, left: int | None) -> Iterable[str]:
    """What there is too little of, and other cells and seeds that give the plants surely enough."""
    row = plan.left or plan.best
    if left == 0:
        yield f"By the journal no seed of the lot is left; this takes {row.seeds}."
    surely = (row.wanted_chance or 0.0) >= wanted.certain_share
    if wanted.plants is None:
        if plan.left is not None:
            yield f"More would fill more: {plan.best.per_cell} in each cell take {plan.best.seeds} seeds."
        return
    ways = [
        f"{each.per_cell} in each of {each.cells_needed} ({each.seeds_needed} seeds)"
        for each in reversed(plan.rows[: plan.best.per_cell])
        if each.cells_needed and (each.per_cell, each.cells_needed) != (row.per_cell, row.cells)
    ]
    if not ways or (surely and wanted.cells is not None):
        return
    begins = "Or "
    if not surely:
        begins = (
            f"For {wanted.plants} plants {chance(wanted.certain_share)} take more cells rather than more "
        )
        begins += "seeds in each: "
    yield f"{begins}{', or '.join(ways).replace(' (', ' cells (', 1)}."


def poor_sentence(plan: SowingPlan, wanted: Wanted, warmth: float | None) -> Iterable[str]:
    """Why the cells do not fill, and what else to do."""
    best = plan.best
    if warmth is not None and warmth < WORTH_SAYING:
        yield (
            f"At that temperature {warmth * 100:.0f} of 100 come up that would at the best one: "
            "a better time or place saves most of the seed."
        )
    if best.middle_share >= wanted.fill_share or plan.for_plants is not None:
        return
    if best.per_cell == plan.levels_off:
        yield (
            f"One seed more in each fills fewer than {wanted.gain_share * 100:g} of 100 cells more "
            "(--gain; common practice, no source)."
        )
    else:
        many = plan.rows[0].seeds_needed
        yield (
            f"More than {wanted.most_per_cell} in a cell (--most) are tedious to thin: seed that comes up as "
            "poorly as this is sown thickly in an open tray and pricked out"
            + (f", about {many} seeds for {wanted.plants} plants" if many else "")
            + " (common practice, no source)."
        )


def narrower_sentence(narrower: Sequence[Narrower], row: SowingRow) -> Iterable[str]:
    """What would tell more."""
    by = {
        "test": f"a germination test of {TEST_SEEDS} seeds (traywarden lot test)",
        "tray": "a tray of it counted to its end (traywarden emerged)",
    }
    told = [f"{by[each.by]} would narrow that to {each.filled_low}–{each.filled_high}" for each in narrower]
    if told:
        yield (
            f"{row.filled_low} to {row.filled_high} is as much as is known: {'; '.join(told)}, "
            "if it comes out as expected."
        )


def money_sentence(row: SowingRow, plan: SowingPlan, costs: Costs) -> str:
    """From which price of an empty cell on a seed pays; or why that cannot be said."""
    if not costs.weighable:
        why = (
            "What a seed costs is not known (price and number of the lot, or --seed-price)"
            if costs.seed_price is None
            else "The seed costs nothing and your time has no price (--hour-price)"
        )
        return f"{why}, so that thinning is not weighed against empty cells."
    pays = [
        (_ordinal(each.per_cell), money(each.pays_from_price))
        for each in plan.rows[1:]
        if each.pays_from_price is not None and row.per_cell <= each.per_cell <= row.per_cell + 1
    ]
    told = ""
    if pays:
        told = f"A {pays[0][0]} seed in each cell pays if an empty cell costs you more than {pays[0][1]}"
        told += "".join(f", a {number} if more than {price}" for number, price in pays[1:]) + "."
    if not costs.hour_price:
        told += " Your time to thin has no price (--hour-price)."
    cheapest = next((each for each in plan.rows if each.per_cell == plan.cheapest), None)
    known = costs.cell_price and cheapest is not None and cheapest.per_cell != row.per_cell
    if known and cheapest is not None and cheapest.plant_price and row.plant_price:
        told += (
            f" The cheapest plants come of {cheapest.per_cell} a cell: "
            f"{money(cheapest.plant_price)} each, against {money(row.plant_price)}."
        )
    return told.strip()


def _ordinal(number: int) -> str:
    return {2: "second", 3: "third", 4: "fourth", 5: "fifth"}.get(number, f"{number}th")


def money(price: float) -> str:
    """A sum as exactly as it is worth.

    >>> money(12.345), money(0.0312)
    ('12.35', '0.031')
    """
    return f"{price:.2f}" if price >= 0.1 else f"{price:.2g}"


def chance(part: float) -> str:
    """A chance in words.

    >>> chance(0.934), chance(0.9999), chance(0.002)
    ('93 times in 100', 'more than 99 times in 100', 'less than 1 time in 100')
    """
    if part > 0.995:
        return "more than 99 times in 100"
    if part < 0.005:
        return "less than 1 time in 100"
    times = max(1, round(part * 100))
    return f"{times} time{'' if times == 1 else 's'} in 100"


def seeds_remarks(place: Middle, record: SowingRecord) -> Iterable[str]:
    """What the grower should know beside the numbers."""
    if not record.others and not record.own:
        yield (
            "no tray of this garden has been counted to its end yet: that of 100 good seeds "
            f"{place.mean_share * 100:.0f} come up ({place.low_share * 100:.0f} to "
            f"{place.high_share * 100:.0f} in four trays of five) is common practice, without a source"
        )
    if record.unfinished:
        yield f"not counted to the end yet, and not used: {named(record.unfinished)}"
    if record.unknown:
        yield f"not used, as seeds sown or place are not written down: {named(record.unknown)}"


def own_words(ground: Ground, record: SowingRecord) -> list[Told]:
    """What the lot's own trays say of it: the newest by name, the others together."""
    newest, others = record.own_batches[-MOST_OWN:], record.own_batches[:-MOST_OWN]
    told = [
        Told(
            f"{known.batch.up} of {known.batch.sown} came up in tray {known.tray.name}"
            + (f", {known.place.name}" if known.place else ""),
            "your count",
            ground.at(known.batch.sowing.at_ms),
        )
        for known in newest
    ]
    if others:
        up, sown = sum(k.batch.up for k in others), sum(k.batch.sown or 0 for k in others)
        told.append(Told(f"{up} of {sown} came up in {len(others)} trays before", "your counts"))
    return told
