"""How many seeds to sow, in words."""

from collections.abc import Iterable

from traywarden.domain.emergence_forecast import Middle
from traywarden.domain.sowing_plan import SowingPlan, SowingRow
from traywarden.services.lots import Told
from traywarden.services.questions.ground import Ground
from traywarden.services.sowing_record import SowingRecord

ANY = "any place"


def seeds_sentence(name: str, where: str, cells: int, plants: int | None, row: SowingRow) -> str:
    """What to sow and what comes of it."""
    seeds = f"{row.per_cell} seed{'' if row.per_cell == 1 else 's'}"
    place = "" if where == ANY else f", to stand in {where}"
    said = (
        f"Sow {seeds} of {name} in each of {cells} cells{place} ({row.seeds} seeds): "
        f"about {row.filled:.0f} cells fill, {row.filled_low} to {row.filled_high} in four trays of five."
    )
    if plants is None or row.wanted_chance is None:
        return said
    if plants > cells:
        more = f"{row.cells_needed} cells" if row.cells_needed else "more cells than twenty times as many"
        return f"{said} {plants} plants need {more} at {seeds} each."
    return f"{said} {plants} plants or more come of it {chance(row.wanted_chance)}."


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


def seeds_remarks(
    row: SowingRow,
    plan: SowingPlan,
    place: Middle,
    fill: float,
    left: int | None,
    price: float | None,
    record: SowingRecord,
) -> Iterable[str]:
    """What the grower should know beside the numbers."""
    if left is not None and left < row.seeds:
        yield f"only {left} seeds of the lot are left by the journal; this takes {row.seeds}"
    if plan.for_fill is None:
        yield (
            f"no number of seeds looked at fills {fill * 100:g} % of the cells on average: more seeds do not "
            "help where the whole lot may be poor or the whole tray fail. Test the seed first "
            "(traywarden lot test), or sow at a better temperature"
        )
    if price is None:
        yield "what a seed costs is not known; add the price and number of seeds to the lot, or --seed-price"
    if not record.others and not record.own:
        yield (
            "no tray of this garden has been counted to its end yet: that of 100 good seeds "
            f"{place.mean_share * 100:.0f} come up ({place.low_share * 100:.0f} to "
            f"{place.high_share * 100:.0f} in four trays of five) is common practice, without a source"
        )
    if record.unfinished:
        yield f"still coming up at the last count, and not used: {', '.join(sorted(set(record.unfinished)))}"
    if record.unknown:
        yield (
            "not used, as seeds sown or place are not written down: " + ", ".join(sorted(set(record.unknown)))
        )


def own_words(ground: Ground, record: SowingRecord) -> list[Told]:
    """What the lot's own trays say of it."""
    return [
        Told(
            f"{known.batch.up} of {known.batch.sown} came up in tray {known.tray.name}"
            + (f", {known.place.name}" if known.place else ""),
            "your count",
            ground.at(known.batch.sowing.at_ms),
        )
        for known in record.own_batches
    ]
