"""How long each mix stays soaked after a watering: roots get no air meanwhile."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from traywarden.domain.mix_advice import MixDrying, median_duration
from traywarden.domain.units import list_words
from traywarden.errors import UsageError
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.mixes import DEFAULT_DAYS, finite, gathered, uncalibrated
from traywarden.store import garden as garden_store


@dataclass(frozen=True, slots=True)
class SoakedWatering:
    """One watering after which the mix was soaked; `ended` false: for at least so long."""

    mix: str
    tray: str
    place: str
    at: datetime
    soaked_h: float
    ended: bool


@dataclass(frozen=True, slots=True)
class MixSoaked:
    """One mix: the median [h] with its 95 % interval over trays.

    `soaked_h` None where nothing tells it or half of them had not ended; `low_h`, `high_h` None where there
    is no interval or no end. `reason` says what is missing.
    """

    mix: str
    soaked_h: float | None
    low_h: float | None
    high_h: float | None
    waterings: int
    trays: int
    open_ended: int
    reason: str


@dataclass(frozen=True, slots=True)
class SoakedAnswer:
    """`above_pct`: from this share of container capacity up a mix counts as soaked."""

    garden: str
    start: datetime
    end: datetime
    above_pct: float
    sentence: str
    mixes: tuple[MixSoaked, ...]
    waterings: tuple[SoakedWatering, ...]
    remarks: tuple[str, ...]


def ask_soaked(ground: Ground, mix: str = "", days: float = DEFAULT_DAYS) -> SoakedAnswer:
    """How long one mix or each stays soaked after a watering, over the last so many days.

    Waterings that brought a tray near its container capacity count; of those that had not ended when last
    seen it is known that they lasted at least so long (Kaplan–Meier).

    Raises UnknownNameError, UsageError (no mix yet; a span of nothing), ShortOfDataError.
    """
    mixes = [garden_store.mix_named(ground.tx, mix)] if mix else list(ground.mixes.values())
    if not mixes:
        raise UsageError(
            'There is no mix yet; add one with: traywarden mix add "Seed mix" --parts "perlite 2, coir 2"'
        )
    found, (start_ms, end_ms) = gathered(ground, days)
    names = [each.name for each in mixes]
    mine = [s for s in found.stretches if s.mix in names and s.drying.soaked_h is not None]
    told = tuple(_of_mix(name, [s for s in mine if s.mix == name]) for name in names)
    rows = [
        SoakedWatering(
            s.mix,
            str(s.tray),
            s.place,
            ground.at(s.drying.start_s * 1000),
            round(s.drying.soaked_h or 0.0, 1),
            s.drying.soaked_over,
        )
        for s in mine
    ]
    return SoakedAnswer(
        ground.garden.name,
        ground.at(start_ms),
        ground.at(end_ms),
        round(ground.settings["mix.soaked_above"] * 100, 1),
        _sentence(told),
        told,
        tuple(sorted(rows, key=lambda row: (row.mix, row.tray, row.at))),
        tuple(uncalibrated(found, names)),
    )


def _of_mix(name: str, mine: Sequence[MixDrying]) -> MixSoaked:
    found = median_duration(
        [s.drying.soaked_h or 0.0 for s in mine],
        [s.drying.soaked_over for s in mine],
        [s.tray for s in mine],
    )
    return MixSoaked(
        name,
        finite(found.estimate),
        finite(found.low),
        finite(found.high),
        len(mine),
        len({s.tray for s in mine}),
        sum(not s.drying.soaked_over for s in mine),
        found.reason if mine else "no watering brought it near container capacity",
    )


def _sentence(mixes: Sequence[MixSoaked]) -> str:
    known = [mix for mix in mixes if mix.soaked_h is not None]
    if not known:
        return "How long the mixes stay soaked cannot be told yet."
    longest = sorted(known, key=lambda mix: -(mix.soaked_h or 0.0))
    told = list_words(f"{mix.mix} {mix.soaked_h:.0f} h" for mix in longest)
    return f"Soaked after a watering, in the middle of cases: {told}."
