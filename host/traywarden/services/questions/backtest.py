"""How good the outlook on drying was in this garden: asked into its own past, against what came."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from traywarden.domain.backtest import History, Judged, Score, judged, score
from traywarden.domain.garden import Tray
from traywarden.domain.series import HeadSeries
from traywarden.domain.wetting import Wetting
from traywarden.errors import UsageError
from traywarden.services.dryings import LEAST_HOURS, part_dryings
from traywarden.services.place_demand import PlaceDemand, TrayDemand
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.waterings import tray_waterings
from traywarden.services.wettings import LEAD_MS

FEW = 5
"""Fewer dry-downs than this say nothing about how often an interval holds (no source)."""


@dataclass(frozen=True, slots=True)
class TrayScore:
    """One tray: all its levels and hours, and each level asked about a day before it was reached."""

    tray: str
    mix: str | None
    rolling: Score
    day_before: Score


@dataclass(frozen=True, slots=True)
class BacktestAnswer:
    """Over every tray together, then tray by tray. `sentence` says it in one."""

    garden: str
    start: datetime
    end: datetime
    sentence: str
    rolling: Score
    day_before: Score
    trays: tuple[TrayScore, ...]


def ask_backtest(ground: Ground, tray: str = "", days: float = 120.0) -> BacktestAnswer:
    """Outlooks asked into the last so many days, of one tray or all; all of them learn from all.

    Raises UnknownNameError, UsageError (no tray yet), ShortOfDataError (nothing was ever measured).
    """
    chosen = ground.chosen_trays(tray)
    if days <= 0:
        raise UsageError(f"A span of {days:g} days holds nothing; give --days 120.")
    ground.need_readings()
    start_ms = ground.now_ms - round(days * DAY_MS)
    water = tray_waterings(ground, start_ms, ground.now_ms + 1)
    demand = PlaceDemand(ground, start_ms - LEAD_MS, ground.now_ms)
    histories: list[History] = []
    for each in ground.trays.values():
        known = water[each.tray_id]
        where = demand.of_tray(each.tray_id, known.series)
        for head, wettings in zip(known.series, known.by_head, strict=True):
            histories += _histories(ground, each, head, wettings, where)
    rolling, before = judged(histories, float("-inf"), 0)
    names = {each.name for each in chosen}
    rolling, before = ([j for j in every if j.name in names] for every in (rolling, before))
    whole = score(rolling)
    return BacktestAnswer(
        ground.garden.name,
        ground.at(start_ms),
        ground.at(ground.now_ms),
        _sentence(whole),
        whole,
        score(before),
        tuple(_tray(ground, each, rolling, before) for each in chosen),
    )


def _histories(
    ground: Ground, tray: Tray, head: HeadSeries, wettings: Sequence[Wetting], demand: TrayDemand
) -> list[History]:
    """The dry-downs of a head, one history for each time that its moisture is to be compared."""
    found = []
    for part in head.unbroken():
        middle_ms = round((part.time_s[0] + part.time_s[-1]) * 500)
        mix = ground.mix_of(tray.tray_id, middle_ms)
        dryings = [drying for drying, _ in part_dryings(part, wettings, demand, ground.now_ms / 1000)]
        alone = f"{tray.name} {head.label}"
        kept = [d for d in dryings if d.hours >= LEAST_HOURS]
        found.append(History(tray.name, mix.name if mix else alone, kept))
    return found


def _tray(ground: Ground, tray: Tray, rolling: list[Judged], before: list[Judged]) -> TrayScore:
    mix = ground.mix_of(tray.tray_id, ground.now_ms)
    mine, day = ([j for j in every if j.name == tray.name] for every in (rolling, before))
    return TrayScore(tray.name, mix.name if mix else None, score(mine), score(day))


def _sentence(found: Score) -> str:
    if found.coverage is None or found.median_error is None:
        return "There is nothing to judge yet: no dry-down that fell by 3 % of volume is over in this span."
    noun = "dry-down" if found.dry_downs == 1 else "dry-downs"
    words = (
        f"In {found.dry_downs} {noun} the 80 % interval held {found.coverage * 100:.0f} % of the time, and "
        f"outlooks were off by {found.median_error * 100:.0f} % of the time left, half of them by less."
    )
    if found.dry_downs < FEW:
        words += f" So few say little; from {FEW} on the number begins to mean something."
    return words
