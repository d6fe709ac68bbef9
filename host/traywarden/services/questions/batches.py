"""All batches of a span in one table, and groups of them held against each other, each tray counting once."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import combinations

from traywarden.domain.group_difference import GroupDifference, group_difference, holm
from traywarden.domain.proportions import Share, wilson
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.batches import KnownBatch, garden_batches, named
from traywarden.services.questions.ground import Ground
from traywarden.store import crops as crop_store

BY: dict[str, Callable[[KnownBatch], str | None]] = {
    "place": lambda known: known.place.name if known.place else None,
    "mix": lambda known: known.mix.name if known.mix else None,
    "lot": lambda known: known.lot.name if known.lot else None,
    "cover": lambda known: (
        None if known.place is None else "under cover" if known.place.covered else "in the open"
    ),
    "crop": lambda known: known.crop_name,
}
MOST_GROUPS = 6


@dataclass(frozen=True, slots=True)
class BatchRow:
    """One batch. `share` None where the seeds sown are not known; times in days since sowing.

    Half was up between the visits `half_from_d` and `half_to_d`; `half_d` and `spread_d` are None where those
    lie too far apart to say more.
    """

    tray: str
    crop: str
    lot: str | None
    place: str | None
    mix: str | None
    sown_at: datetime
    seeds_sown: int | None
    up: int
    share: Share | None
    half_d: float | None
    half_from_d: float | None
    half_to_d: float | None
    spread_d: float | None
    still_rising: bool


@dataclass(frozen=True, slots=True)
class BatchGroup:
    """Trays that have something in common. Means over trays, each counting once."""

    name: str
    trays: int
    mean_pct: float | None
    mean_half_d: float | None


@dataclass(frozen=True, slots=True)
class GroupPair:
    """Two groups, first minus second; P made stricter where there are several pairs (Holm)."""

    a: str
    b: str
    pct: GroupDifference | None
    half_d: GroupDifference | None


@dataclass(frozen=True, slots=True)
class BatchesAnswer:
    garden: str
    by: str
    batches: tuple[BatchRow, ...]
    groups: tuple[BatchGroup, ...]
    pairs: tuple[GroupPair, ...]
    remarks: tuple[str, ...]


def ask_batches(
    ground: Ground, *, crop: str = "", by: str = "", start: date | None = None, end: date | None = None
) -> BatchesAnswer:
    """Every counted batch sown in a span (default: ever), of one crop or all; `by` groups them.

    Batches that were not counted to their end are listed, but belong to no group.

    Raises UnknownNameError, UsageError (a grouping there is not), ShortOfDataError (no batch was counted).
    """
    if by and by not in BY:
        raise UsageError(f"Batches are grouped by {', '.join(BY)}, not by “{by}”.")
    key = crop_store.crop_named(crop).key if crop else ""
    found = [
        known
        for known in garden_batches(ground)
        if known.batch.counts
        and (not key or known.crop_key == key)
        and (start is None or ground.at(known.batch.sowing.at_ms).date() >= start)
        and (end is None or ground.at(known.batch.sowing.at_ms).date() <= end)
    ]
    if not found:
        what = f" of {crop_store.load_crops()[key].name}" if key else ""
        raise ShortOfDataError(
            f"No batch{what} was counted in that span; count what is up, none too, "
            "with: traywarden emerged TRAY --count 0"
        )
    groups, pairs, remarks = _grouped(found, by) if by else ((), (), ())
    return BatchesAnswer(
        ground.garden.name, by, tuple(_row(ground, known) for known in found), groups, pairs, remarks
    )


def _row(ground: Ground, known: KnownBatch) -> BatchRow:
    batch = known.batch
    half = batch.reached(0.5)
    return BatchRow(
        known.tray.name,
        known.crop_name,
        known.lot.name if known.lot else None,
        known.place.name if known.place else None,
        known.mix.name if known.mix else None,
        ground.at(batch.sowing.at_ms),
        batch.sown,
        batch.up,
        wilson(batch.up, batch.sown) if batch.sown else None,
        None if half is None else half.at_d,
        None if half is None else half.from_d,
        None if half is None else half.to_d,
        batch.spread_d,
        batch.still_rising,
    )


def _half_d(known: KnownBatch) -> float | None:
    half = known.batch.reached(0.5)
    return None if half is None else half.at_d


def _grouped(
    found: list[KnownBatch], by: str
) -> tuple[tuple[BatchGroup, ...], tuple[GroupPair, ...], tuple[str, ...]]:
    groups: dict[str, list[KnownBatch]] = {}
    rising, nameless, seldom = [], [], []
    for known in found:
        name = BY[by](known)
        if known.batch.still_rising:
            rising.append(known.tray.name)
        elif name is None:
            nameless.append(known.tray.name)
        else:
            groups.setdefault(name, []).append(known)
            if known.batch.up and _half_d(known) is None:
                seldom.append(known.tray.name)
    left = [
        f"{what}: {named(trays)}"
        for what, trays in (
            ("not yet counted to the end, and in no group", rising),
            (f"the {by} is not written down, and in no group", nameless),
            ("counted too seldom to say when half was up", seldom),
        )
        if trays
    ]
    names = sorted(groups, key=lambda name: (-len(groups[name]), name))
    if len(names) > MOST_GROUPS:
        left.append(f"only the {MOST_GROUPS} largest of {len(names)} groups are held against each other")
    pairs = [
        GroupPair(
            a,
            b,
            group_difference(_pcts(groups[a]), _pcts(groups[b])),
            group_difference(_halves(groups[a]), _halves(groups[b])),
        )
        for a, b in combinations(names[:MOST_GROUPS], 2)
    ]
    if by != "crop" and groups and len({known.crop_key for known in found}) > 1:
        left.append("several crops are mixed here; take one with --crop, as crops differ more than places do")
    return tuple(_group(name, groups[name]) for name in names), tuple(_stricter(pairs)), tuple(left)


def _pcts(group: list[KnownBatch]) -> list[float]:
    return [100 * known.batch.up / known.batch.sown for known in group if known.batch.sown]


def _halves(group: list[KnownBatch]) -> list[float]:
    return [half_d for known in group if (half_d := _half_d(known)) is not None]


def _group(name: str, members: list[KnownBatch]) -> BatchGroup:
    pcts, halves = _pcts(members), _halves(members)
    return BatchGroup(
        name,
        len(members),
        sum(pcts) / len(pcts) if pcts else None,
        sum(halves) / len(halves) if halves else None,
    )


def _stricter(pairs: list[GroupPair]) -> list[GroupPair]:
    pct, half = _holm([pair.pct for pair in pairs]), _holm([pair.half_d for pair in pairs])
    return [replace(pair, pct=p, half_d=h) for pair, p, h in zip(pairs, pct, half, strict=True)]


def _holm(found: list[GroupDifference | None]) -> list[GroupDifference | None]:
    known = [k for k, each in enumerate(found) if each is not None and each.p_value is not None]
    stricter = holm([float(found[k].p_value or 0.0) for k in known])  # type: ignore[union-attr]
    out = list(found)
    for k, p_value in zip(known, stricter, strict=True):
        each = out[k]
        if each is not None:
            out[k] = replace(each, p_value=p_value)
    return out
