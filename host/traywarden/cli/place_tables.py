"""Places side by side and ranked, as a grower reads them."""

from traywarden.cli.asking import number
from traywarden.cli.place_words import bare_temp, clock_time, ends, mean_and_ends
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.many_places import PlaceSummary
from traywarden.domain.units import Display
from traywarden.services.questions.germination_hours import HoursAnswer
from traywarden.services.questions.places import PlacesAnswer
from traywarden.services.questions.rank import MONTHS, RankAnswer


def print_places(answer: PlacesAnswer, display: Display) -> None:
    say(answer.sentence)
    say(f"\n{answer.first_day} to {answer.last_day}, {answer.measured}, on average over the days each has:")
    degree = f"°{display.temperature}"
    extremes = (f"night low, {degree}", f"day high, {degree}")
    headings = ("place", "days", "half warm at", "hottest hour", *extremes, "air, kPa")
    print_table(
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
    if any(place.difference is not None for place in answer.places):
        say(f"\nAgainst {answer.against}, on the same days:")
        notes = Notes()
        rows = [row for place in answer.places for row in _against(answer, place, display, notes)]
        print_table(("place", "days", "", "differs by", "95 % interval", ""), rows, right=("days",))
        notes.say()
    say(
        "Half warm: when, in the morning, it passes the middle between the day's lowest and highest hour. "
        "Dries: how fast trays dry in the same air and mix; more than 1 is sun and wind."
    )
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def _against(
    answer: PlacesAnswer, place: PlaceSummary, display: Display, notes: Notes
) -> list[tuple[str, ...]]:
    """One row for each thing in which a place may differ; the name stands in the first."""
    found = place.difference
    if found is None:
        return []
    rows = [
        ("half warm", *mean_and_ends(found.half_warm_h, _minutes)),
        ("night low", *mean_and_ends(found.low_c, display.temp_difference)),
        ("day high", *mean_and_ends(found.high_c, display.temp_difference)),
    ]
    drying = next((e for e in answer.drying if e.place == place.name), None)
    if drying is not None and drying.ratio.estimate is not None:
        rows.append(("dries", *mean_and_ends(drying.ratio, lambda times: f"{times:.1f} times")))
    marks = [notes.mark(drying.reason if drying is not None and row[0] == "dries" else "") for row in rows]
    names = [(place.name, f"{place.days_common}"), *[("", "")] * (len(rows) - 1)]
    return [(*name, *row, mark) for name, row, mark in zip(names, rows, marks, strict=True)]


def _minutes(hours_h: float) -> str:
    return f"{round(hours_h * 60):+d} min"


def print_rank(answer: RankAnswer, display: Display) -> None:
    say(answer.sentence)
    span = f"{display.limit(answer.low_c)} to {display.limit(answer.high_c)}"
    say(f"\nHours a day from {span} ({answer.range_source}), over {answer.ranking.days} common days:")
    print_table(
        ("rank", "place", "h a day", "95 % interval"),
        [(f"{p.rank}", p.name, number(p.hours_h.estimate), ends(p.hours_h)) for p in answer.ranking.ranked],
        right=("rank", "h a day"),
    )
    if answer.ranking.pairs:
        say("")
        print_table(
            ("", "more, h a day", "interval", ""),
            [
                (f"{p.better} over {p.worse}", number(p.lead_h.estimate), ends(p.lead_h), p.verdict)
                for p in answer.ranking.pairs
            ],
            right=("more, h a day",),
        )
        say("Intervals of pairs are wide enough that all of them together hold 95 times in 100.")
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def print_hours(answer: HoursAnswer, display: Display) -> None:
    notes = Notes()
    say(f"Hours a day in which {answer.measured} lets seed come up, by month and place:")
    for crop, (low_c, high_c), source in zip(answer.crops, answer.ranges_c, answer.sources, strict=True):
        say(f"\n{crop}, {display.limit(low_c)} to {display.limit(high_c)} {notes.mark(source)}")
        rows = [row for row in answer.months if row.crop == crop]
        print_table(
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
    say("")
    notes.say()
    say("To rank the places for one crop and month: traywarden places rank CROP --month 4")
