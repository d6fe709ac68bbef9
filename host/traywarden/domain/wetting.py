"""One wetting, what counts as one, and how its kind is told from its speed."""

from dataclasses import dataclass, replace
from enum import StrEnum

from traywarden.domain.units import HOUR_S

DAY_S = 86400.0


class WettingKind(StrEnum):
    """How the water came, as far as it can be told."""

    FROM_ABOVE = "by hand from above"
    FROM_BELOW = "from below"
    RAIN = "rain"
    UNCLEAR = "unclear"


@dataclass(frozen=True, slots=True)
class WettingParams:
    """What counts as a wetting. One set serves seed trays and open ground alike.

    Values marked (no source) are common practice without a publication behind them.
    """

    least_rise_m3_m3: float = 0.015
    """Smallest rise, beyond what temperature and habit explain. Two steps of a sensor that reads in
    steps of 0.01, which is the coarsest in use (no source)."""
    window_s: float = 3 * HOUR_S
    """The rise must happen within this time: tray waterings take minutes, water from below up to an hour
    or two, while the daily swing takes six hours to climb (no source)."""
    noise_times: float = 5.0
    """The rise must also be this many times the sensor's own noise over the day before (no source)."""
    temperature_effect_m3_m3_per_c: float = 0.002
    """Rise allowed to warming, per °C: capacitive sensors were seen to drift 0.02 in 10 °C (MethodsX 2024,
    103100) and to read higher when warmer (Liu 2011)."""
    habit_days: int = 5
    """A rise seen at the same time of day on one of this many days before is that day's swing."""
    habit_s: float = 2 * HOUR_S
    """How far “the same time of day” reaches to either side: cloud shifts the swing (no source)."""
    most_swing_m3_m3: float = 0.04
    """The daily swing never explains more than this (±0.02 is the largest swing in the recorded data), so
    a tray watered every day at the same hour is seen every day."""
    fastest_swing_m3_m3_per_s: float = 0.02 / HOUR_S
    """… nor more than this per second: the steepest morning in the recorded data rises 0.015 an hour."""
    settle_s: float = 2 * HOUR_S
    """A wetting is over once no new high was reached for this long (no source)."""
    freezing_c: float = 0.5
    """At or below this soil temperature moisture is not trusted: ice reads as dry, and 0.5 °C is the
    accuracy of a DS18B20."""
    thawed_s: float = DAY_S
    """… nor until the soil has been warmer than that for this long: one day and night (no source)."""
    longest_gap_s: float = 3 * HOUR_S
    """Readings farther apart than this are not joined."""
    least_gap_rise_m3_m3: float = 0.06
    """Rise over such a gap that still counts, at an unknown instant within it: beyond any daily swing. Also
    what a rise must reach before enough readings have shown the sensor's noise."""
    longest_look_back_s: float = 2 * DAY_S
    """A gap longer than this hides too much to say that one wetting happened in it (no source)."""
    fast_s: float = 30 * 60.0
    """Nine tenths of the rise within this time: from above; slower: from below (no source)."""


@dataclass(frozen=True, slots=True)
class Wetting:
    """One wetting. Times are seconds since 1970; levels are volume fractions.

    `onset_s` is the last reading before the rise; `climb_s` is how long nine tenths of the rise took.
    `confidence` in the kind runs from 0 to 1 and `reason` says why in words. `over_gap`: no reading saw the
    rise itself, only that it was wetter after a gap than before.
    """

    onset_s: float
    peak_s: float
    before_m3_m3: float
    after_m3_m3: float
    climb_s: float
    spacing_s: float
    kind: WettingKind
    confidence: float
    reason: str
    over_gap: bool = False

    @property
    def rise_m3_m3(self) -> float:
        return self.after_m3_m3 - self.before_m3_m3


@dataclass(frozen=True, slots=True)
class Seen:
    """A wetting as a pass over readings came upon it, so that a later pass can go on after it.

    `base_s` is the reading it was measured from and `settled_s` the one that showed that it was over; NaN
    where none has yet. No further wetting begins before the reading number `after` of all those passed over.
    """

    wetting: Wetting
    base_s: float
    settled_s: float
    after: int


DEFAULT_PARAMS = WettingParams()
RULES = 1
"""Raise it with every change to what is found where, or said of it: what was kept is then found anew."""


def by_speed(wetting: Wetting, params: WettingParams = DEFAULT_PARAMS) -> Wetting:
    """The wetting with its kind judged from how fast the moisture climbed.

    Parameters
    ----------
    wetting : Wetting
    params : `fast_s` is used

    Returns
    -------
    Wetting with `kind`, `confidence` and `reason` set

    Notes
    -----
    Readings farther apart than `fast_s` cannot show whether a rise between two of them was fast; the kind is
    then unclear. A slow rain climbs like water from below; only `classify` can tell them apart.

    References
    ----------
    The rule is this project’s own; see `WettingParams.fast_s`.

    Examples
    --------
    >>> wetting = Wetting(0.0, 5400.0, 0.3, 0.45, 4200.0, 300.0, WettingKind.UNCLEAR, 0.0, "")
    >>> by_speed(wetting).kind.value
    'from below'
    """
    minutes = wetting.climb_s / 60
    words = f"nine tenths of the rise within {minutes:.0f} min"
    size = min(1.0, wetting.rise_m3_m3 / 0.10)  # a rise of a tenth or more is beyond doubt (no source)
    if wetting.climb_s <= params.fast_s:
        return replace(
            wetting, kind=WettingKind.FROM_ABOVE, confidence=round(0.5 + 0.3 * size, 2), reason=words
        )
    if wetting.climb_s <= 1.5 * wetting.spacing_s:
        reason = f"{words}; readings {wetting.spacing_s / 60:.0f} min apart cannot show how fast"
        return replace(
            wetting, kind=WettingKind.UNCLEAR, confidence=round(0.3 + 0.3 * size, 2), reason=reason
        )
    return replace(wetting, kind=WettingKind.FROM_BELOW, confidence=round(0.4 + 0.3 * size, 2), reason=words)
