"""One head in its mix: where its moisture stands, and what weeks of it show of capacity, drift and warmth."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from traywarden.domain.garden import Mix
from traywarden.domain.hourly import Hourly
from traywarden.domain.moisture_scale import DryEnd, between, dry_end, level_of
from traywarden.domain.plateaus import WEEK_S, Capacity, drifts, learned_capacity, plateaus
from traywarden.domain.series import FloatArray
from traywarden.domain.temperature_effect import TemperatureEffect, temperature_effect, without_temperature
from traywarden.domain.waterings import find_wettings
from traywarden.domain.wetting import Wetting
from traywarden.errors import UsageError
from traywarden.services.epochs import breaks_ms
from traywarden.services.questions.ground import Ground

DRIEST_POINT_M3_M3 = 0.10
"""A calibration whose driest point holds more says nothing of dry mix (soilless media keep 5–14 % at −1 to
−2 MPa: Fields et al. 2020, Agronomy 10:1393)."""
FOUR_WEEKS_S = 4 * WEEK_S
LEVEL_KEYS = tuple(f"moisture.level{n}_from" for n in (2, 3, 4, 5))


@dataclass(frozen=True, slots=True)
class LevelNow:
    """A level of the 1–5 scale with the signs a hand would find."""

    number: int
    name: str
    signs: str


@dataclass(frozen=True, slots=True)
class Learned:
    """Container capacity as shown by waterings [m³/m³]; None with a `reason` where nothing shows it."""

    m3_m3: float | None
    low_m3_m3: float | None
    high_m3_m3: float | None
    waterings: int
    plateaus: int
    reason: str


@dataclass(frozen=True, slots=True)
class Drift:
    """How plateaus move [m³/m³ in four weeks]; None where too few. `says` what it means and what to do."""

    m3_m3_in_4_weeks: float | None
    low_m3_m3: float | None
    high_m3_m3: float | None
    drifts: bool
    says: str


@dataclass(frozen=True, slots=True)
class Warmth:
    """What a degree does to the head [m³/m³].

    `removed_share`: the part of the daily wiggle that it removes on days it was not fitted to.
    """

    m3_m3_per_c: float | None
    low_m3_m3_per_c: float | None
    high_m3_m3_per_c: float | None
    lag_h: float | None
    removed_share: float | None
    taken_out: bool
    reason: str


@dataclass(frozen=True, slots=True)
class HeadMoisture:
    """One head in one tray since its mix, place in it and calibration are what they are.

    `moisture_m3_m3` is the mean of the newest hour, `at_20_c_m3_m3` the same without the temperature effect
    (None where it is not taken out), `part` where it lies between the dry end (0) and container capacity (1).
    """

    head: str
    since: datetime
    at: datetime | None
    moisture_m3_m3: float | None
    at_20_c_m3_m3: float | None
    part: float | None
    level: LevelNow | None
    calibrated: bool
    capacity_m3_m3: float | None
    learned: Learned
    dry_m3_m3: float
    dry_source: str
    drift: Drift
    warmth: Warmth
    trouble: str


def epoch_ms(ground: Ground, head_id: int, tray_id: int) -> int | None:
    """Since when the head's moisture can be compared with itself; None where it is not in the tray now."""
    now_ms, facts = ground.now_ms, ground.facts
    stays = [s for s in facts.heads_in_tray(tray_id, now_ms, now_ms + 1) if s.subject == head_id]
    if not stays:
        return None
    # The newest break is the beginning; a head that is in the tray has one at least, when it was put in.
    return breaks_ms(facts, head_id, tray_id, 0, now_ms + 1)[-1]


def head_moisture(
    ground: Ground, mix: Mix | None, head_id: int, hours: Hourly, since_ms: int
) -> tuple[HeadMoisture, Capacity]:
    # An hour that an epoch begins in mixes two truths.
    whole = hours.hour_s * 1000 >= since_ms
    hour_s, soil_c, wet = hours.hour_s[whole], hours.soil_temp_c[whole], hours.moisture_m3_m3[whole]
    wettings = find_wettings(hour_s, wet, soil_c)
    effect = temperature_effect(hour_s, wet, soil_c, wettings)
    at_20_c = without_temperature(hour_s, wet, soil_c, effect)
    capacity = learned_capacity(plateaus(hour_s, at_20_c, wettings), at_20_c=effect.used)
    set_m3_m3 = mix.container_capacity_m3_m3 if mix else None
    bottom = _dry_end(ground, mix, head_id, (hour_s, at_20_c, wettings), set_m3_m3)
    dry_m3_m3 = bottom.m3_m3 or 0.0
    newest = _newest(ground, hour_s, wet)
    now_m3_m3 = None if newest is None else float(at_20_c[newest] if effect.used else wet[newest])
    part = None
    if now_m3_m3 is not None and set_m3_m3 is not None and set_m3_m3 > dry_m3_m3:
        part = float(between(now_m3_m3, dry_m3_m3, set_m3_m3))
    level = None if part is None else level_of(part, levels_from(ground))
    one = HeadMoisture(
        hours.label,
        ground.at(since_ms),
        None if newest is None else ground.at((hour_s[newest] + 3600.0) * 1000),
        None if newest is None else round(float(wet[newest]), 4),
        round(now_m3_m3, 4) if now_m3_m3 is not None and effect.used else None,
        None if part is None else round(part, 3),
        None if level is None else LevelNow(level.number, level.name, level.signs),
        ground.facts.calibrated_in(head_id, mix.mix_id if mix else None),
        set_m3_m3,
        _learned(capacity),
        round(dry_m3_m3, 4),
        bottom.source,
        _drift(capacity, effect),
        _warmth(effect),
        _trouble(mix, newest, hour_s),
    )
    return one, capacity


def _newest(ground: Ground, hour_s: FloatArray, wet: FloatArray) -> int | None:
    """The newest hour with moisture, unless it is too old to speak of now."""
    known = np.flatnonzero(np.isfinite(wet))
    if not known.size:
        return None
    age_s = ground.now_ms / 1000 - (hour_s[known[-1]] + 3600.0)
    return int(known[-1]) if age_s <= ground.settings["notices.blind_after_s"] else None


def _dry_end(
    ground: Ground,
    mix: Mix | None,
    head_id: int,
    record: tuple[FloatArray, FloatArray, Sequence[Wetting]],
    capacity_m3_m3: float | None,
) -> DryEnd:
    lines = [c for c in ground.facts.calibrations(head_id, mix.mix_id if mix else None) if c.usable]
    holding = [c for c in lines if c.from_ms <= ground.now_ms] or lines[:1]
    driest = min((m3_m3 for _, m3_m3 in holding[-1].points), default=1.0) if holding else 1.0
    if driest <= DRIEST_POINT_M3_M3:
        return DryEnd(driest, 0, "dry point of its calibration")
    found = (
        DryEnd(None, 0, "its mix is not known")
        if capacity_m3_m3 is None
        else dry_end(*record, capacity_m3_m3)
    )
    if found.m3_m3 is not None:
        return found
    return DryEnd(0.0, 0, f"taken as none: {found.source}")


def _learned(capacity: Capacity) -> Learned:
    interval = capacity.m3_m3
    return Learned(
        rounded(interval.estimate),
        rounded(interval.low),
        rounded(interval.high),
        len(capacity.thorough),
        len(capacity.plateaus),
        capacity.reason,
    )


def _drift(capacity: Capacity, effect: TemperatureEffect) -> Drift:
    trend = capacity.drift
    if trend is None or trend.low_per_s is None or trend.high_per_s is None:
        return Drift(
            None, None, None, drifts=False, says="too few thorough waterings over weeks to tell a drift"
        )
    middle, low, high = (v * FOUR_WEEKS_S for v in (trend.per_s, trend.low_per_s, trend.high_per_s))
    if not drifts(capacity):
        says = "no drift that matters"
        return Drift(rounded(middle), rounded(low), rounded(high), drifts=False, says=says)
    way = "rises" if middle > 0 else "falls"
    says = (
        f"after each thorough watering it {way} by {abs(middle):.3f} m³/m³ in four weeks "
        f"({min(abs(low), abs(high)):.3f} to {max(abs(low), abs(high)):.3f}): clean the head, press the mix "
        "to it and calibrate it anew; if that does not end it, the mix has slumped or the head is failing"
    )
    if not effect.used:
        says += "; part of it may be the season’s warmth, as its temperature effect could not be told"
    return Drift(rounded(middle), rounded(low), rounded(high), drifts=True, says=says)


def _warmth(effect: TemperatureEffect) -> Warmth:
    if effect.m3_m3_per_c is None:
        return Warmth(None, None, None, None, None, taken_out=False, reason=effect.reason)
    return Warmth(
        rounded(effect.m3_m3_per_c, 6),
        rounded(effect.low_m3_m3_per_c, 6),
        rounded(effect.high_m3_m3_per_c, 6),
        effect.lag_s / 3600,
        rounded(effect.removed_share, 3),
        effect.used,
        effect.reason,
    )


def _trouble(mix: Mix | None, newest: int | None, hour_s: FloatArray) -> str:
    if not hour_s.size:
        return "nothing was measured since it was put in, filled or calibrated"
    if newest is None:
        return "no usable moisture was measured lately"
    return "" if mix else "no mix is written down, so nothing says what is wet for it"


def levels_from(ground: Ground) -> tuple[float, ...]:
    begins = tuple(float(ground.settings[key]) for key in LEVEL_KEYS)
    if list(begins) != sorted(set(begins)):
        raise UsageError(
            "The settings moisture.level2_from to moisture.level5_from must rise one after the other; "
            f"they are {', '.join(f'{v:g}' for v in begins)}."
        )
    return begins


def rounded(value: float | None, digits: int = 4) -> float | None:
    return None if value is None else round(value, digits)
