"""Intervals, temperatures and clock times in the tables about places."""

from collections.abc import Callable

from traywarden.domain.bootstrap import Interval
from traywarden.domain.units import Display, bare, clock_words


def ends(interval: Interval, digits: int = 1) -> str:
    """The two ends, or why there are none."""
    if interval.low is None or interval.high is None:
        return interval.reason
    return f"{interval.low:.{digits}f} to {interval.high:.{digits}f}"


def mean_and_ends(interval: Interval, words: Callable[[float], str]) -> tuple[str, str]:
    """The estimate with its unit, and the ends without, or why there are none."""
    if interval.estimate is None:
        return "–", interval.reason
    if interval.low is None or interval.high is None:
        return words(interval.estimate), interval.reason
    low, high = (bare(words(end)) for end in (interval.low, interval.high))
    return words(interval.estimate), f"{low} to {high}"


def clock_time(hour_h: float | None) -> str:
    return "–" if hour_h is None else clock_words(hour_h)


def bare_temp(temp_c: float | None, display: Display) -> str:
    return "–" if temp_c is None else bare(display.temp(temp_c))


def bare_difference(range_c: float | None, display: Display) -> str:
    """A size between temperatures, without sign and unit."""
    return "–" if range_c is None else bare(display.temp_difference(range_c)).lstrip("+")
