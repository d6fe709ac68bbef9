"""Intervals, temperatures and clock times in the tables about places."""

from collections.abc import Callable

from traywarden.cli.asking import bare
from traywarden.domain.bootstrap import Interval
from traywarden.domain.units import Display, clock_words


def with_interval(interval: Interval, words: Callable[[float], str]) -> str:
    """The estimate with its interval, each as `words` puts it; a dash where it is not known."""
    if interval.estimate is None:
        return "–"
    text = words(interval.estimate)
    if interval.low is None or interval.high is None:
        return text
    return f"{text} [{words(interval.low)} to {words(interval.high)}]"


def ends(interval: Interval, digits: int = 1) -> str:
    """The two ends, or why there are none."""
    if interval.low is None or interval.high is None:
        return interval.reason
    return f"{interval.low:.{digits}f} to {interval.high:.{digits}f}"


def mean_and_ends(interval: Interval, display: Display) -> tuple[str, str]:
    """A difference of temperatures and its interval, or why there is none."""
    if interval.estimate is None:
        return "–", interval.reason
    mean = display.temp_difference(interval.estimate)
    if interval.low is None or interval.high is None:
        return mean, interval.reason
    return mean, f"{display.temp_difference(interval.low)} to {display.temp_difference(interval.high)}"


def clock_time(hour_h: float | None) -> str:
    return "–" if hour_h is None else clock_words(hour_h)


def bare_temp(temp_c: float | None, display: Display) -> str:
    return "–" if temp_c is None else bare(display.temp(temp_c))


def bare_difference(range_c: float | None, display: Display) -> str:
    """A size between temperatures, without sign and unit."""
    return "–" if range_c is None else bare(display.temp_difference(range_c)).lstrip("+")
