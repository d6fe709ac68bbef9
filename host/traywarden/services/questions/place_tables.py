"""Places side by side, ranked, and by their hours in range, in tables."""

from traywarden.domain.many_places import PlaceSummary
from traywarden.domain.units import Display, number
from traywarden.services.questions.answer_table import AnswerTable
from traywarden.services.questions.germination_hours import HoursAnswer
from traywarden.services.questions.place_words import bare_temp, clock_time, ends, mean_and_ends
from traywarden.services.questions.places import PlacesAnswer
from traywarden.services.questions.rank import MONTHS, RankAnswer

WORDS = (
    "Half warm: when, in the morning, it passes the middle between the day's lowest and highest hour. "
    "Dries: how fast trays dry in the same air and mix; more than 1 is sun and wind."
)


def means_table(answer: PlacesAnswer, display: Display) -> AnswerTable:
    """Every place on average over its own days."""
    degree = f"°{display.temperature}"
    extremes = (f"night low, {degree}", f"day high, {degree}")
    headings = ("place", "days", "half warm at", "hottest hour", *extremes, "air, kPa")
    return AnswerTable(
        headings,
        [
            (
                place.name,
                f"{place.days}",
                clock_time(place.mean.half_warm_h.estimate),
                clock_time(place.mean.hottest_h.estimate),
                bare_temp(place.mean.low_c.estimate, display),
                bare_temp(place.mean.high_c.estimate, display),
                number(place.mean.vpd_kpa.estimate, 2),
            )
            for place in answer.places
        ],
        right=headings[1:],
    )


def against_table(answer: PlacesAnswer, display: Display) -> AnswerTable:
    """How each place differs from the one the others are held against, on the same days."""
    rows: list[tuple[str, ...]] = []
    remarks: list[tuple[str, ...]] = []
    for place in answer.places:
        for row, remark in _against(answer, place, display):
            rows.append(row)
            remarks.append((remark,))
    return AnswerTable(("place", "days", "", "differs by", "95 % interval"), rows, ("days",), remarks)


def _against(
    answer: PlacesAnswer, place: PlaceSummary, display: Display
) -> list[tuple[tuple[str, ...], str]]:
    """One row for each thing in which a place may differ; the name stands in the first."""
    found = place.difference
    if found is None:
        return []
    rows = [
        (("half warm", *mean_and_ends(found.half_warm_h, _minutes)), ""),
        (("night low", *mean_and_ends(found.low_c, display.temp_difference)), ""),
        (("day high", *mean_and_ends(found.high_c, display.temp_difference)), ""),
    ]
    drying = next((e for e in answer.drying if e.place == place.name), None)
    if drying is not None and drying.ratio.estimate is not None:
        times = mean_and_ends(drying.ratio, lambda times: f"{times:.1f} times")
        rows.append((("dries", *times), drying.reason))
    names = [(place.name, f"{place.days_common}"), *[("", "")] * (len(rows) - 1)]
    return [((*name, *row), remark) for name, (row, remark) in zip(names, rows, strict=True)]


def _minutes(hours_h: float) -> str:
    return f"{round(hours_h * 60):+d} min"


def rank_table(answer: RankAnswer) -> AnswerTable:
    return AnswerTable(
        ("rank", "place", "h a day", "95 % interval"),
        [(f"{p.rank}", p.name, number(p.hours_h.estimate), ends(p.hours_h)) for p in answer.ranking.ranked],
        right=("rank", "h a day"),
    )


def pairs_table(answer: RankAnswer) -> AnswerTable:
    """Which of two is better, each pair of ranked places."""
    return AnswerTable(
        ("", "more, h a day", "interval", "verdict"),
        [
            (f"{p.better} over {p.worse}", number(p.lead_h.estimate), ends(p.lead_h), p.verdict)
            for p in answer.ranking.pairs
        ],
        right=("more, h a day",),
    )


PAIRS_WORDS = "Intervals of pairs are wide enough that all of them together hold 95 times in 100."


def counted_words(answer: RankAnswer, display: Display) -> str:
    """Which hours are counted, and over how many days."""
    span = f"{display.limit(answer.low_c)} to {display.limit(answer.high_c)}"
    return f"Hours a day from {span} ({answer.range_source}), over {answer.ranking.days} common days:"


def hours_table(answer: HoursAnswer, crop: str) -> AnswerTable:
    """Hours a day in one crop's range, by month and place."""
    rows = [row for row in answer.months if row.crop == crop]
    return AnswerTable(
        ("month", "place", "h a day", "95 % interval", "in best range", "days"),
        [
            (
                f"{MONTHS[row.month - 1]} {row.year}",
                row.place,
                number(row.hours_h.estimate),
                ends(row.hours_h),
                number(row.best_h.estimate) if row.best_h else "",
                f"{row.days}",
            )
            for row in sorted(rows, key=lambda r: (r.year, r.month))
        ],
        right=("h a day", "in best range", "days"),
    )
