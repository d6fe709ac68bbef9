"""Hardening off: how far the days of plants under cover are from those of an open bed."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from traywarden.domain.bootstrap import RUNS, SEED, Interval
from traywarden.domain.daily_interval import daily_mean_interval
from traywarden.domain.place_days import PlaceDays

NIGHT_WITHIN_C = 1.5
"""A night no more than this above the open bed's was a night outdoors (no source; about the error of two
sensors and their shelters)."""
DEMAND_PART = 0.8
"""A day with this part of the open air's vapour-pressure deficit made plants work as outdoors (no source)."""
HARDENED_D = 7
"""Days outdoors after which plants are hardened: 1–2 weeks, Univ. of Maryland Extension, “Hardening Vegetable
Seedlings for the Home Garden”; this is the lower end."""
LOOK_BACK_D = 14
"""… and the upper end: how far back days outdoors count."""
LEAST_DAYS = 5


@dataclass(frozen=True, slots=True)
class NightRule:
    """A night low [°C] that plants want, what for and where from; `tag` says how well it is known."""

    low_c: float
    low_f: float
    words: str
    source: str
    tag: str


@dataclass(frozen=True, slots=True)
class NightCount:
    """How many of the open bed's last nights were below a rule."""

    rule: NightRule
    cold_nights: int


SECONDARY = "a secondary table by class; no extension page with it was found"
MARYLAND = "Univ. of Maryland Extension, Hardening Vegetable Seedlings for the Home Garden"
GREEN_BAY = "Univ. of Wisconsin–Green Bay"


def _minimum(low_f: float, name: str) -> NightRule:
    return NightRule(
        (low_f - 32) / 1.8, float(low_f), f"hardening minimum of {name} plants", SECONDARY, "secondary"
    )


HARDY, HALF_HARDY, TENDER = _minimum(40, "hardy"), _minimum(45, "half-hardy"), _minimum(50, "tender")
CUCUMBER, HEAT_LOVER = _minimum(60, "cucumber"), _minimum(65, "basil, tomato and pepper")
ANY = NightRule((45 - 32) / 1.8, 45.0, "not outdoors below this", MARYLAND, "extension service")
OVERNIGHT = NightRule(
    (50 - 32) / 1.8,
    50.0,
    "cucumber and melon stay out overnight from this on",
    MARYLAND,
    "extension service",
)
NOT_BEFORE = NightRule(
    (60 - 32) / 1.8,
    60.0,
    "tomato and pepper are not to be out below this",
    GREEN_BAY,
    "extension service",
)
AFTER_A_WEEK = NightRule(
    (50 - 32) / 1.8,
    50.0,
    "nights that tomato and pepper want after a week of hardening",
    GREEN_BAY,
    "extension service",
)
RULES: dict[str, tuple[NightRule, ...]] = {
    **dict.fromkeys(("broccoli", "cabbage", "onion", "parsley"), (HARDY,)),
    **dict.fromkeys(("celery", "lettuce"), (HALF_HARDY, ANY)),
    **dict.fromkeys(("squash", "pumpkin", "corn_sweet"), (TENDER, ANY)),
    "cucumber": (CUCUMBER, OVERNIGHT),
    "muskmelon": (OVERNIGHT, ANY),
    **dict.fromkeys(("tomato", "pepper"), (HEAT_LOVER, NOT_BEFORE, AFTER_A_WEEK)),
    "basil": (HEAT_LOVER, ANY),
}
"""By key of the crop table."""


@dataclass(frozen=True, slots=True)
class HardDay:
    """One day of the plants beside that of the open bed [°C, kPa]; None where it is not known.

    `outdoors`: it was as hard as outdoors; None where it cannot be told. `why` says what kept it from being.
    """

    day: date
    low_c: float | None
    open_low_c: float | None
    range_c: float | None
    open_range_c: float | None
    vpd_kpa: float | None
    open_vpd_kpa: float | None
    outdoors: bool | None
    why: str


@dataclass(frozen=True, slots=True)
class Hardening:
    """How sheltered the plants are, and whether they still need hardening off.

    Differences are plants − open bed. `demand_part` is the ratio of their vapour-pressure deficits. `need`
    is “yes”, “partly”, “no” or “cannot tell”. `rules` counts which of the last `nights` open nights, up to
    seven, were too cold, and `lowest_c` is the lowest of them.
    """

    days: tuple[HardDay, ...]
    low_difference_c: Interval
    range_difference_c: Interval
    demand_part: Interval
    days_outdoors: int
    days_known: int
    need: str
    rules: tuple[NightCount, ...]
    nights: int
    lowest_c: float | None


def night_rules(crop: str) -> tuple[NightRule, ...]:
    """What a crop wants of nights outdoors, by its key; the general rule where no table lists it.

    Parameters
    ----------
    crop : str, key of the crop table; empty for none

    Returns
    -------
    tuple of NightRule, the hardening minimum first

    References
    ----------
    Each rule names its own.

    Examples
    --------
    >>> [rule.low_f for rule in night_rules("tomato")], [rule.low_f for rule in night_rules("marigold")]
    ([65.0, 60.0, 50.0], [45.0])
    """
    return RULES.get(crop, (ANY,))


def hardening(
    plants: PlaceDays,
    bed: PlaceDays,
    rules: tuple[NightRule, ...] = (ANY,),
    *,
    level: float = 0.95,
    runs: int = RUNS,
    seed: int = SEED,
) -> Hardening:
    """Compare the days of plants with those of an open bed.

    Parameters
    ----------
    plants, bed : days of the air around the plants and in the open, over the same days, oldest first
    rules : what the plants want of nights
    level, runs, seed : as in `daily_mean_interval`

    Returns
    -------
    Hardening

    Notes
    -----
    A day was outdoors where its low was at most 1.5 °C above the open bed's and, where humidity is known on
    both sides, its mean vapour-pressure deficit at least 0.8 of it. Seven such days of the last fourteen:
    no need; some: partly; none: yes. The ratio of demand is exp of the mean difference of logarithms, over
    days on which both are above 0.05 kPa. It says nothing of wind and of ultraviolet light, which a shelter
    takes away too, nor whether water was cut.

    References
    ----------
    1–2 weeks, and water cut: Univ. of Maryland Extension. Limits of a day outdoors: this project's own.

    Examples
    --------
    >>> from datetime import timedelta
    >>> from dataclasses import replace
    >>> days = tuple(date(2026, 4, 1) + timedelta(n) for n in range(10))
    >>> open_c = np.array([6.0, 7, 5, 6, 8, 7, 6, 5, 7, 6])
    >>> bed = PlaceDays("bed", days, *[open_c] * 7, {})
    >>> found = hardening(replace(bed, low_c=open_c + 4), bed)
    >>> found.need, round(found.low_difference_c.estimate, 1), found.rules[0].cold_nights
    ('yes', 4.0, 6)
    """
    rows = tuple(_day(plants, bed, n) for n in range(len(bed.days)))
    last = rows[-LOOK_BACK_D:]
    told = [row for row in last if row.outdoors is not None]
    outdoors = sum(row.outdoors is True for row in told)
    with np.errstate(divide="ignore", invalid="ignore"):
        wet = (plants.vpd_kpa > 0.05) & (bed.vpd_kpa > 0.05)
        logs = np.where(wet, np.log(plants.vpd_kpa / bed.vpd_kpa), np.nan)
    nights = bed.low_c[np.isfinite(bed.low_c)][-HARDENED_D:]

    def _mean(values: np.ndarray) -> Interval:
        return daily_mean_interval(values, level=level, runs=runs, seed=seed)

    return Hardening(
        days=rows,
        low_difference_c=_mean(plants.low_c - bed.low_c),
        range_difference_c=_mean(plants.range_c - bed.range_c),
        demand_part=_exp(_mean(logs)),
        days_outdoors=outdoors,
        days_known=len(told),
        need=_need(outdoors, len(told)),
        rules=tuple(NightCount(rule, int((nights < rule.low_c).sum())) for rule in rules),
        nights=int(nights.size),
        lowest_c=float(nights.min()) if nights.size else None,
    )


def _day(plants: PlaceDays, bed: PlaceDays, n: int) -> HardDay:
    names = ("low_c", "range_c", "vpd_kpa")
    mine, open_air = (
        [None if np.isnan(value := getattr(place, name)[n]) else float(value) for name in names]
        for place in (plants, bed)
    )
    outdoors, why = _outdoors(mine[0], open_air[0], mine[2], open_air[2])
    return HardDay(
        bed.days[n], mine[0], open_air[0], mine[1], open_air[1], mine[2], open_air[2], outdoors, why
    )


def _outdoors(
    low_c: float | None, open_low_c: float | None, vpd_kpa: float | None, open_vpd_kpa: float | None
) -> tuple[bool | None, str]:
    if low_c is None or open_low_c is None:
        return None, "not measured on both sides"
    if low_c - open_low_c > NIGHT_WITHIN_C:
        return False, "warmer night"
    if vpd_kpa is not None and open_vpd_kpa is not None and vpd_kpa < DEMAND_PART * open_vpd_kpa:
        return False, "moister air"
    return True, ""


def _need(outdoors: int, known: int) -> str:
    if outdoors >= HARDENED_D:
        return "no"
    if known < LEAST_DAYS:
        return "cannot tell"
    return "partly" if outdoors else "yes"


def _exp(logs: Interval) -> Interval:
    low, middle, high = (
        None if v is None else float(np.exp(v)) for v in (logs.low, logs.estimate, logs.high)
    )
    return Interval(middle, low, high, logs.level, logs.n, logs.method, logs.reason)
