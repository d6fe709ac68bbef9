"""What a comparison of two places came to, and how to say it."""

from dataclasses import dataclass
from datetime import date

from traywarden.domain.bootstrap import Interval
from traywarden.domain.units import Display


@dataclass(frozen=True, slots=True)
class Limits:
    """Temperatures a crop wants to stay between [°C]; None where there is no such limit."""

    crop: str
    low_c: float | None = None
    high_c: float | None = None


@dataclass(frozen=True, slots=True)
class LimitHours:
    """Hours that each side spent below and above the limits, while both were known."""

    limits: Limits
    a_below_h: float | None
    b_below_h: float | None
    a_above_h: float | None
    b_above_h: float | None


@dataclass(frozen=True, slots=True)
class DayPair:
    """One garden day on both sides, over the instants both are known [°C]; blank (None) with a `reason`.

    `difference` is a − b. `coverage` is the part of the day that both sides cover.
    """

    day: date
    coverage: float
    a_min_c: float | None
    a_mean_c: float | None
    a_max_c: float | None
    b_min_c: float | None
    b_mean_c: float | None
    b_max_c: float | None
    min_difference_c: float | None
    mean_difference_c: float | None
    max_difference_c: float | None
    night_difference_c: float | None
    day_difference_c: float | None
    a_c_days: float | None
    b_c_days: float | None
    reason: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """What `a` was against `b`. Differences are a − b [°C], each with its interval over days that count."""

    a: str
    b: str
    first_day: date
    last_day: date
    days: tuple[DayPair, ...]
    days_counted: int
    mean_difference_c: Interval
    min_difference_c: Interval
    max_difference_c: Interval
    night_difference_c: Interval
    day_difference_c: Interval
    night_rule: str
    base_c: float | None
    a_c_days: float | None
    b_c_days: float | None
    gained_c_days: float | None
    gained_a_day_c_days: Interval | None
    hours: LimitHours | None
    common_h: float
    coverage: float
    a_coverage: float
    b_coverage: float

    def in_words(self, display: Display, measured: str = "") -> str:
        """One sentence that says what the comparison came to.

        Parameters
        ----------
        display : the units the grower reads
        measured : what of the places was compared, air or soil; empty: left unsaid

        Returns
        -------
        str

        Notes
        -----
        It says “did not differ clearly” where the interval holds zero, and how much both sides were measured.
        A limit that neither side crossed goes without saying.
        """
        return _sentence(self, display, measured)


def _sentence(found: Comparison, display: Display, measured: str) -> str:
    mean = found.mean_difference_c
    difference_c = mean.estimate if mean.estimate is not None else float("nan")
    span = f"{found.first_day.isoformat()} to {found.last_day.isoformat()}"
    if 0 < found.days_counted < len(found.days):
        span += f" ({found.days_counted} of {len(found.days)} days count)"
    if mean.low is None or mean.high is None:
        verdict = f"{found.a} was {display.temp_difference(difference_c)} against {found.b} on average"
        few = {0: "no day is covered enough", 1: "one day is too little"}.get(
            mean.n, f"{mean.n} days are too few"
        )
        interval = f" ({few} to say how sure that is)"
    else:
        interval = (
            f" ({mean.level * 100:.0f} % interval {display.temp_difference(mean.low)} "
            f"to {display.temp_difference(mean.high)})"
        )
        if mean.low > 0 or mean.high < 0:
            word = "warmer" if difference_c > 0 else "colder"
            size = display.temp_difference(abs(difference_c)).lstrip("+")
            verdict = f"{found.a} was {size} {word} than {found.b} on average"
        else:
            verdict = (
                f"{found.a} and {found.b} did not differ clearly: "
                f"{display.temp_difference(difference_c)} on average"
            )
    parts = [f"{span}: {verdict}{f' in the {measured}' if measured else ''}{interval}"]
    for words, gain in (("by night", found.night_difference_c), ("by day", found.day_difference_c)):
        if gain.estimate is not None:
            parts.append(f"{display.temp_difference(gain.estimate)} {words}")
    if found.gained_c_days is not None and found.base_c is not None:
        gained = display.degree_days(abs(found.gained_c_days))
        word = "more" if found.gained_c_days >= 0 else "fewer"
        parts.append(f"{gained} {word} above {display.temp(found.base_c)}")
    parts += _limit_words(found.hours, display)
    return f"{', '.join(parts)}; both were measured {found.coverage * 100:.0f} % of the time."


def _limit_words(hours: LimitHours | None, display: Display) -> list[str]:
    if hours is None:
        return []
    parts, limits = [], hours.limits
    if limits.low_c is not None and (hours.a_below_h or hours.b_below_h):
        low = f"{limits.crop}’s {display.temp(limits.low_c)}"
        parts.append(f"{hours.a_below_h:,.0f} h below {low} instead of {hours.b_below_h:,.0f} h")
    if limits.high_c is not None and (hours.a_above_h or hours.b_above_h):
        high = f"{limits.crop}’s {display.temp(limits.high_c)}"
        parts.append(f"{hours.a_above_h:,.0f} h above {high} instead of {hours.b_above_h:,.0f} h")
    return parts
