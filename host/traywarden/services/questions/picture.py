"""The comparison as a picture: the packaged chart, filled with the numbers of one answer."""

import math
from typing import Any

from traywarden.domain.clock_words import days_words
from traywarden.domain.comparison import Comparison, DayPair
from traywarden.domain.units import Display, f_from_c
from traywarden.links.pictures import chart
from traywarden.services.questions.compare import CompareAnswer


def compare_picture(answer: CompareAnswer, display: Display) -> dict[str, Any]:
    """A Vega-Lite spec of the comparison, in the grower's degrees.

    Days that are blank have neither bar nor point.
    """
    found = answer.comparison
    spec = chart("compare")
    ranges = [row for day in found.days if not day.reason for row in _ranges(day, found, display)]
    spec["datasets"] = {
        "ranges": ranges,
        "labels": _labels(ranges, found),
        "differences": [
            {"day": _day(day), "mean": _difference(day.mean_difference_c, display)}
            for day in found.days
            if day.mean_difference_c is not None
        ],
        "overall": _overall(found, display),
    }
    spec["title"]["text"] = f"{found.a} against {found.b}"
    spec["title"]["subtitle"] = (
        f"{answer.garden}, {answer.measured} temperature, {days_words(found.first_day, found.last_day)}"
    )
    top, bottom = spec["vconcat"]
    top["layer"][0]["encoding"]["y"]["title"] = f"daily range, white: mean (°{display.temperature})"
    bottom["layer"][3]["encoding"]["y"]["title"] = f"difference (°{display.temperature})"
    top["encoding"]["color"]["scale"]["domain"] = [found.a, found.b]
    top["encoding"]["xOffset"]["scale"]["domain"] = [found.a, found.b]
    days = [_day(day) for day in found.days]
    top["encoding"]["x"]["scale"]["domain"] = days
    bottom["layer"][3]["encoding"]["x"]["scale"]["domain"] = days
    return spec


def _day(day: DayPair) -> str:
    return f"{day.day.day} {day.day:%b}"


def _temp(temp_c: float | None, display: Display) -> float | None:
    if temp_c is None or not math.isfinite(temp_c):
        return None
    return round(f_from_c(temp_c) if display.temperature == "F" else temp_c, 2)


def _difference(difference_c: float | None, display: Display) -> float | None:
    if difference_c is None or not math.isfinite(difference_c):
        return None
    return round(difference_c * 1.8 if display.temperature == "F" else difference_c, 2)


def _ranges(day: DayPair, found: Comparison, display: Display) -> list[dict[str, Any]]:
    sides = (
        (found.a, day.a_min_c, day.a_mean_c, day.a_max_c),
        (found.b, day.b_min_c, day.b_mean_c, day.b_max_c),
    )
    return [
        {
            "day": _day(day),
            "place": name,
            "low": _temp(low, display),
            "mean": _temp(mean, display),
            "high": _temp(high, display),
        }
        for name, low, mean, high in sides
    ]


def _labels(ranges: list[dict[str, Any]], found: Comparison) -> list[dict[str, Any]]:
    """A name beside the last bars: the higher one beside the top of its bar, the lower beside its foot."""
    if len(ranges) < 2:
        return []
    last = ranges[-2:]
    upper = max(last, key=lambda row: row["mean"])
    return [
        {
            "day": row["day"],
            "place": row["place"],
            "at": row["high"] if row is upper else row["low"],
            "text": row["place"],
        }
        for row in last
    ]


def _overall(found: Comparison, display: Display) -> list[dict[str, Any]]:
    mean = found.mean_difference_c
    if mean.estimate is None:
        return []
    low, high = (mean.estimate if v is None else v for v in (mean.low, mean.high))
    words = display.temp_difference(mean.estimate)
    return [
        {
            "low": _difference(low, display),
            "mean": _difference(mean.estimate, display),
            "high": _difference(high, display),
            "text": f"{words} on average",
        }
    ]
