"""What the garden knows of a lot of seed: packet, law, tests, age, and how many seeds of it are left."""

from dataclasses import dataclass
from datetime import datetime

from traywarden.domain.garden import Lot
from traywarden.domain.journal import Entry, Kind
from traywarden.domain.lot_germination import (
    AtLeast,
    Evidence,
    LotGermination,
    OnPacket,
    OwnTest,
    lot_germination,
)
from traywarden.domain.replicates import ReplicateCheck, check_replicates
from traywarden.domain.seed_ageing import CERTAIN_Z, Ageing, ageing_of, label_strength
from traywarden.services.journal import seeds_sown
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.store.seed_facts import label_tolerances, load_seed_facts, replicate_ranges

YEAR_MS = 365.25 * DAY_MS
HOME_TEST_SEEDS = 20
"""Seeds of a test whose number was not written down: Iowa State University Extension 1999 takes twenty."""
STANDARD = "US standard for seed sold, 7 CFR 201.31"
UNKNOWN_LEAST = (0.70, 0.10)
"""Median and standard deviation of the least germination of the 68 kinds of 7 CFR 201.31."""


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that is known of a lot, in words, with what it is worth."""

    says: str
    source: str
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class LotKnowledge:
    """Everything known of a lot (or, without one, of any lot of a crop) at an instant."""

    evidence: tuple[Evidence, ...]
    told: tuple[Told, ...]
    ageing: Ageing
    germination: LotGermination
    remarks: tuple[str, ...]


def lot_knowledge(ground: Ground, lot: Lot | None, crop_key: str, at_ms: int) -> LotKnowledge:
    """What is known at `at_ms` of a lot; entries written for later instants are not used."""
    facts = load_seed_facts().get(crop_key)
    entries = [] if lot is None else _of_lot(ground, lot, at_ms)
    packed = _packed(entries)
    years = 0.0 if packed is None else (at_ms - packed.at_ms) / YEAR_MS
    evidence: list[Evidence] = []
    told: list[Told] = []
    remarks: list[str] = []
    packet_at = None if packed is None else ground.at(packed.at_ms)
    if lot is not None and lot.germination is not None and lot.tested:
        evidence.append(OwnTest(round(lot.germination * HOME_TEST_SEEDS), HOME_TEST_SEEDS, years))
        told.append(
            Told(
                f"{_pct(lot.germination)} in a test of your own; of how many seeds is not written down, "
                f"taken as {HOME_TEST_SEEDS}",
                "as Iowa State University Extension 1999 has it tested",
                packet_at,
            )
        )
    elif lot is not None and lot.germination is not None:
        strength = label_strength(lot.germination, label_tolerances())
        evidence.append(OnPacket(lot.germination, strength, years))
        says = f"{_pct(lot.germination)} by the packet, worth {strength:.0f} seeds of your own"
        told.append(Told(says, label_tolerances()[0].source, packet_at))
    elif facts is not None and facts.standard_pct is not None:
        least = facts.standard_pct / 100
        error = label_tolerance_share(least) / CERTAIN_Z
        evidence.append(AtLeast(least, error, years))
        says = (
            f"no figure of its own; seed sold in the United States must germinate {_pct(least)} or more, "
            "which is trusted four times in five"
        )
        told.append(Told(says, facts.standard_source, packet_at))
    else:
        evidence.append(AtLeast(*UNKNOWN_LEAST, years))
        says = (
            "no figure of its own, and the law names none for this kind: taken like the middle one of the 68 "
            f"it names, which must germinate {_pct(UNKNOWN_LEAST[0])}"
        )
        told.append(Told(says, STANDARD, packet_at))
    for test in (e for e in entries if e.kind is Kind.TESTED):
        evidence.append(_tested(test, at_ms))
        told.append(_test_words(ground, test))
    ageing = ageing_of(facts)
    if lot is not None and packed is None and not any(e.kind is Kind.TESTED for e in entries):
        remarks.append(
            "its age is not known, and it is taken as fresh; say when it was packed with: "
            f'traywarden lot packed "{lot.name}" --at 2025-01-01'
        )
    if years:
        told.append(
            Told(
                f"{years:.1f} years old; in open storage half of fresh seed is taken to be dead "
                f"after {ageing.half_years:.0f} years, as uncertain as that is",
                ageing.source,
                packet_at,
            )
        )
    return LotKnowledge(
        tuple(evidence), tuple(told), ageing, lot_germination(evidence, ageing), tuple(remarks)
    )


def label_tolerance_share(germination: float) -> float:
    """What two tests of one lot may differ at that germination, as a part of 1."""
    percent = round(100 * germination)
    for row in label_tolerances():
        if row.lowest_pct <= percent <= row.highest_pct or row.lowest_pct <= 101 - percent <= row.highest_pct:
            return row.tolerance_pct / 100
    return 0.05


def replicate_check(entry: Entry) -> ReplicateCheck | None:
    """Whether the replicates of a germination test agree."""
    return check_replicates(
        [(int(k), int(n)) for k, n in entry.data.get("replicates") or ()], replicate_ranges()
    )


def age_years(ground: Ground, lot: Lot, at_ms: int) -> float | None:
    """Years since the lot was packed or harvested; None where that is not written down."""
    packed = _packed(_of_lot(ground, lot, at_ms))
    return None if packed is None else (at_ms - packed.at_ms) / YEAR_MS


def seeds_left(ground: Ground, lot: Lot) -> int | None:
    """Seeds of the lot not yet sown or tested, by the journal; None where its number is not known."""
    if lot.seeds is None:
        return None
    used = 0
    for entry in ground.facts.entries:
        if entry.lot_id == lot.lot_id and entry.at_ms <= ground.now_ms:
            tray = ground.trays.get(entry.tray_id or -1)
            if entry.kind is Kind.SOWED and tray is not None:
                used += seeds_sown(entry, tray) or 0
            elif entry.kind is Kind.TESTED:
                used += int(entry.data.get("seeds", 0))
    return max(0, lot.seeds - used)


def _packed(entries: list[Entry]) -> Entry | None:
    return next((e for e in reversed(entries) if e.kind is Kind.PACKED), None)


def _of_lot(ground: Ground, lot: Lot, at_ms: int) -> list[Entry]:
    return [e for e in ground.facts.entries if e.lot_id == lot.lot_id and e.at_ms <= at_ms]


def _tested(entry: Entry, at_ms: int) -> OwnTest:
    """A test, counted for fewer seeds where its replicates lie too far apart."""
    check = replicate_check(entry)
    weight = 1.0
    if check is not None and check.agree is False and check.tolerated_pct:
        weight = (check.tolerated_pct / check.range_pct) ** 2
    years = (at_ms - entry.at_ms) / YEAR_MS
    return OwnTest(int(entry.data["sprouted"]), int(entry.data["seeds"]), years, weight)


def _test_words(ground: Ground, entry: Entry) -> Told:
    sprouted, seeds = entry.data["sprouted"], entry.data["seeds"]
    says, check = f"{sprouted:g} of {seeds:g} sprouted in your test", replicate_check(entry)
    if check is not None and check.agree is False:
        says += (
            f", whose replicates differ by {check.range_pct:.0f} of 100 where {check.tolerated_pct:.0f} is "
            "tolerated: test again; until then it counts for less"
        )
    return Told(says, "" if check is None else check.source, ground.at(entry.at_ms))


def _pct(share: float) -> str:
    return f"{share * 100:g} %"
