"""One place against another in tables: the gain, the warmth, and day by day."""

import re

from traywarden.domain.comparison import DayPair
from traywarden.domain.units import Display, bare, covered, number
from traywarden.services.questions.answer_table import AnswerTable
from traywarden.services.questions.compare import CompareAnswer
from traywarden.services.questions.place_words import mean_and_ends

COVERED = re.compile(r"both sides cover \d+ % of the day")


def gain_table(answer: CompareAnswer, display: Display) -> AnswerTable:
    """a − b: by daily minimum, mean and maximum, by night and by day."""
    found = answer.comparison
    return AnswerTable(
        ("", "on average", "95 % interval"),
        [
            (name, *mean_and_ends(interval, display.temp_difference))
            for name, interval in (
                ("daily minimum", found.min_difference_c),
                ("mean", found.mean_difference_c),
                ("daily maximum", found.max_difference_c),
                ("by night", found.night_difference_c),
                ("by day", found.day_difference_c),
            )
        ],
    )


def warmth_table(answer: CompareAnswer, display: Display) -> AnswerTable:
    """Degree-days of both, and hours too cold and too hot for the crop; no rows without a crop."""
    found, rows = answer.comparison, []
    if found.base_c is not None and found.a_c_days is not None and found.b_c_days is not None:
        unit = display.degree_days(0.0).split(" ", maxsplit=1)[1]
        sums = (bare(display.degree_days(c_days, 1)) for c_days in (found.a_c_days, found.b_c_days))
        rows.append((f"{unit} above {display.limit(found.base_c)}", *sums))
    if found.hours is not None:
        hours, limits = found.hours, found.hours.limits
        for word, limit_c, a_h, b_h in (
            ("too cold, below", limits.low_c, hours.a_below_h, hours.b_below_h),
            ("too hot, above", limits.high_c, hours.a_above_h, hours.b_above_h),
        ):
            if limit_c is not None:
                rows.append((f"hours {word} {display.limit(limit_c)}", number(a_h), number(b_h)))
    return AnswerTable(("", found.a, found.b), rows, right=(found.a, found.b))


def days_table(answer: CompareAnswer, display: Display) -> AnswerTable:
    """Every day: minimum, mean and maximum of both, and the difference of the means."""
    found = answer.comparison
    degree = f"°{display.temperature}"
    return AnswerTable(
        ("day", f"{found.a}, {degree}", f"{found.b}, {degree}", f"difference, {degree}", "covered"),
        [
            (
                f"{day.day}",
                _range(day.a_min_c, day.a_mean_c, day.a_max_c, display),
                _range(day.b_min_c, day.b_mean_c, day.b_max_c, display),
                "–"
                if day.mean_difference_c is None
                else bare(display.temp_difference(day.mean_difference_c)),
                covered(day.coverage),
            )
            for day in found.days
        ],
        right=(f"difference, {degree}", "covered"),
        remarks=[(_why_blank(day),) for day in found.days],
    )


def limits_lines(answer: CompareAnswer) -> tuple[str, ...]:
    """Which crop's limits and base were used, and where they are from."""
    if not answer.crop:
        return ()
    return (
        f"Crop: {answer.crop} ({answer.crop_why}); limits: {answer.limits_source}.",
        f"Base of the degree-days: {answer.base_source}.",
    )


def _why_blank(day: DayPair) -> str:
    """How much was covered stands in the row, so that the remark is the same for every such day."""
    return COVERED.sub("both sides cover too little of the day", day.reason)


def _range(low: float | None, mean: float | None, high: float | None, display: Display) -> str:
    if low is None or mean is None or high is None:
        return "–"
    return " ".join(f"{bare(display.temp(t)):>5}" for t in (low, mean, high))
