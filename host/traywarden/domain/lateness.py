"""Why seed is late, judged from the record: cold, heat, drought, drowning, old seed, each with numbers."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from traywarden.domain.progress import SlowHours
from traywarden.domain.series import BoolArray, FloatArray
from traywarden.domain.units import Display

INHIBITED_ABOVE_C = {"lettuce": 25.0, "celery": 25.0, "pansy": 25.0}
"""Above this seed can be sent to sleep: lettuce, celery and pansy, University of Florida IFAS, propagation
course, “Thermodormancy” (> 25 °C). Cultivars of lettuce differ: from 25.7 to 32.8 °C (Gray 1975, J. Hort.
Sci. 50:349), later ones emerged from cell trays by half at 31 to over 35 °C."""
INHIBITION_SOURCE = "University of Florida IFAS"
CHILLED_BELOW_C = 10.0
"""Seed of warm-season crops that takes up water below this can be hurt by it (Wolk & Herner 1982, HortScience
17:169, after Kidd & West: beans soaked at 10 °C; USDA-ARS: chilling from 0 to 13 °C)."""
WARM_SEASON_FROM_C = 15.0
"""A crop whose own minimum lies at or above this counts as warm-season (common practice, no source)."""
COLD_LIKELY, COLD_POSSIBLE = 0.25, 0.10
"""Part of the time since sowing below the minimum from which cold is likely, or possible (no source)."""
HOT_LIKELY_H, HOT_POSSIBLE_H = 24.0, 6.0
"""Hours too hot from which heat is a likely, a possible cause (common practice, no source)."""
DRY_LIKELY_H, DRY_POSSIBLE_H = 12.0, 3.0
"""Hours in a row below the dry line likewise (common practice, no source)."""
WET_LIKELY_H, WET_POSSIBLE_H = 48.0, 24.0
"""Hours in a row at container capacity or above. Soybean under water was hurt after an hour, and much fewer
came up after 48 h (Wuebker, Mullen & Koehler 2001, Crop Sci. 41:1857); a tray is seldom so wet throughout."""
LOW_GERMINATION = 0.6
"""A lot that germinates less than this is weak, where no standard is published for its crop (no source)."""


class Verdict(StrEnum):
    LIKELY = "likely"
    POSSIBLE = "possible"
    NO = "no"
    UNKNOWN = "cannot be judged"


@dataclass(frozen=True, slots=True)
class Cause:
    """One possible cause: how it is judged, and the numbers in words."""

    name: str
    verdict: Verdict
    says: str


@dataclass(frozen=True, slots=True)
class SeedLot:
    """What is known of the seed: `germination` of the lot, what the crop's standard and seed life are."""

    name: str = ""
    germination: float | None = None
    standard: float | None = None
    standard_source: str = ""
    age_years: float | None = None
    life_years: float | None = None
    life_source: str = ""


def longest_run_h(flags: BoolArray) -> float:
    """Hours of the longest stretch of true hours [h]."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return float((edges[1::2] - edges[::2]).max()) if edges.size else 0.0


def causes(
    crop_key: str,
    temp_c: FloatArray,
    slow: SlowHours,
    moisture_m3_m3: FloatArray,
    lot: SeedLot | None,
    *,
    low_c: float | None,
    high_c: float | None,
    dry_line_m3_m3: float | None,
    capacity_m3_m3: float | None,
    calibrated: bool,
    display: Display = Display(),  # noqa: B008 (frozen)
) -> list[Cause]:
    """The likely causes of lateness, in the order in which a grower would look for them.

    Parameters
    ----------
    crop_key : str
    temp_c, moisture_m3_m3 : array, shape (n,) [°C], [m³/m³]
        Hourly since sowing, NaN where not measured.
    slow : SlowHours
    lot : SeedLot, optional
    low_c, high_c : float, optional [°C], the crop's published limits, as they stand beside its trays
    dry_line_m3_m3, capacity_m3_m3 : float, optional [m³/m³], of the mix
    calibrated : bool, whether moisture was calibrated in the grower's own mix
    display : Display, the units of the words

    Returns
    -------
    list of Cause: cold, heat, dried out, drowned, old seed

    Notes
    -----
    The rate sum already counts cold and heat as time in which nothing advances. That they are named here is
    because they also harm: seed rots in cold wet mix, warm-season seed is hurt by cold water, and heat can
    send seed to sleep. What was not measured cannot be judged and says so.

    References
    ----------
    Each limit's source stands beside it in this module.
    """
    return [
        _cold(temp_c, slow, low_c, display),
        _heat(crop_key, temp_c, high_c, display),
        _dry(moisture_m3_m3, dry_line_m3_m3, calibrated),
        _wet(moisture_m3_m3, capacity_m3_m3, calibrated),
        _old(lot),
    ]


def likeliest(found: Sequence[Cause]) -> list[Cause]:
    """Those that are likely, or else possible."""
    for verdict in (Verdict.LIKELY, Verdict.POSSIBLE):
        if chosen := [cause for cause in found if cause.verdict is verdict]:
            return chosen
    return []


def _cold(temp_c: FloatArray, slow: SlowHours, low_c: float | None, display: Display) -> Cause:
    known = int(np.isfinite(temp_c).sum())
    if low_c is None or not known:
        reason = "no minimum is published for this crop" if low_c is None else "no temperature is known"
        return Cause("cold", Verdict.UNKNOWN, reason)
    below_c = np.maximum(low_c - temp_c[np.isfinite(temp_c)], 0.0)
    cold_h = int((below_c > 0).sum())
    chilled_h = int((temp_c < CHILLED_BELOW_C).sum()) if low_c >= WARM_SEASON_FROM_C else 0
    says = (
        f"{cold_h} of {known} h below its minimum of {display.temp(low_c)}, together "
        f"{display.degree_hours(float(below_c.sum()))}"
    )
    if slow.cold_days:
        says += f"; {slow.cold_days} day{'s' * (slow.cold_days != 1)} lost"
    if chilled_h:
        limit = display.temp(CHILLED_BELOW_C, 0)
        says += f"; {chilled_h} h below {limit}, which hurts seed of warm-season crops"
    verdict = _verdict(cold_h / known, COLD_LIKELY, COLD_POSSIBLE)
    if chilled_h >= HOT_LIKELY_H:
        verdict = Verdict.LIKELY
    return Cause("cold", verdict, says)


def _heat(crop_key: str, temp_c: FloatArray, high_c: float | None, display: Display) -> Cause:
    sleeps_c = INHIBITED_ABOVE_C.get(crop_key)
    limit_c = sleeps_c if sleeps_c is not None else high_c
    known = int(np.isfinite(temp_c).sum())
    if limit_c is None or not known:
        reason = "no maximum is published for this crop" if limit_c is None else "no temperature is known"
        return Cause("heat", Verdict.UNKNOWN, reason)
    hot_h = float((temp_c > limit_c).sum())
    hottest_c = float(np.nanmax(temp_c))
    what = (
        f"{display.temp(limit_c, 0)}, above which its seed can fall asleep ({INHIBITION_SOURCE})"
        if sleeps_c is not None
        else f"its maximum of {display.temp(limit_c)}"
    )
    says = f"{hot_h:.0f} h above {what}; the warmest hour had {display.temp(hottest_c)}"
    return Cause("heat", _verdict(hot_h, HOT_LIKELY_H, HOT_POSSIBLE_H), says)


def _dry(moisture: FloatArray, line_m3_m3: float | None, calibrated: bool) -> Cause:
    known = int(np.isfinite(moisture).sum())
    if line_m3_m3 is None or not known:
        reason = "its mix has no dry line" if line_m3_m3 is None else "its moisture was not measured"
        return Cause("dried out", Verdict.UNKNOWN, reason)
    below = moisture < line_m3_m3
    longest = longest_run_h(below)
    says = f"{int(below.sum())} of {known} h below the dry line, {longest:.0f} h in a row"
    return _by_moisture("dried out", longest, DRY_LIKELY_H, DRY_POSSIBLE_H, says, calibrated)


def _wet(moisture: FloatArray, capacity_m3_m3: float | None, calibrated: bool) -> Cause:
    known = int(np.isfinite(moisture).sum())
    if capacity_m3_m3 is None or not known:
        reason = "its mix has no container capacity" if known else "its moisture was not measured"
        return Cause("drowned", Verdict.UNKNOWN, reason)
    soaked = moisture >= capacity_m3_m3
    longest = longest_run_h(soaked)
    says = f"{int(soaked.sum())} of {known} h at container capacity or wetter, {longest:.0f} h in a row"
    return _by_moisture("drowned", longest, WET_LIKELY_H, WET_POSSIBLE_H, says, calibrated)


def _by_moisture(
    name: str, longest_h: float, likely_h: float, possible_h: float, says: str, calibrated: bool
) -> Cause:
    """An uncalibrated sensor can be far off: it makes nothing likely."""
    verdict = _verdict(longest_h, likely_h, possible_h)
    if calibrated:
        return Cause(name, verdict, says)
    says += "; its moisture is not calibrated in your mix"
    return Cause(name, Verdict.POSSIBLE if verdict is Verdict.LIKELY else verdict, says)


def _old(lot: SeedLot | None) -> Cause:
    name = "old or weak seed"
    if lot is None:
        return Cause(name, Verdict.UNKNOWN, "the sowing names no lot, so nothing is known of its seed")
    said, verdicts = [], []
    if lot.germination is not None:
        least = LOW_GERMINATION if lot.standard is None else lot.standard
        source = f" ({lot.standard_source})" if lot.standard is not None else ""
        said.append(
            f"lot {lot.name} germinates {lot.germination * 100:.0f} %, and {least * 100:.0f} % is "
            f"wanted{source}"
        )
        verdicts.append(_verdict(least - lot.germination, 0.1, 0.0))
    if lot.age_years is not None and lot.life_years is not None:
        said.append(
            f"it is {lot.age_years:.0f} years old and such seed keeps about {lot.life_years:.0f} "
            f"({lot.life_source})"
        )
        verdicts.append(_verdict(lot.age_years, lot.life_years + 1.0, lot.life_years))
    elif lot.life_years is not None:
        said.append(
            f"its age is not recorded; such seed keeps about {lot.life_years:.0f} years ({lot.life_source})"
        )
    if not verdicts:
        said.insert(0, f"neither age nor germination of lot {lot.name} is recorded")
        return Cause(name, Verdict.UNKNOWN, "; ".join(said))
    worst = min(verdicts, key=list(Verdict).index)
    return Cause(name, worst, "; ".join(said))


def _verdict(value: float, likely: float, possible: float) -> Verdict:
    if value >= likely:
        return Verdict.LIKELY
    return Verdict.POSSIBLE if value > possible or (possible > 0 and value >= possible) else Verdict.NO
