"""Places side by side and ranked, as a grower reads them."""

from traywarden.cli.asking import bare, number
from traywarden.cli.place_words import bare_temp, clock_time, ends, with_interval
from traywarden.cli.tables import Notes, print_table, say
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
    others = [place for place in answer.places if place.difference is not None]
    if others:
        say(f"\nAgainst {answer.against}, on the same days [95 % interval]:")
        notes = Notes()
        print_table(
            ("place", "days", "half warm, min", *extremes, "dries, times", ""),
            [
                (
                    place.name,
                    f"{place.days_common}",
                    with_interval(place.difference.half_warm_h, lambda h: f"{h * 60:+.0f}"),
                    with_interval(place.difference.low_c, lambda t: bare(display.temp_difference(t))),
                    with_interval(place.difference.high_c, lambda t: bare(display.temp_difference(t))),
                    _ratio(answer, place.name),
                    notes.mark(next((e.reason for e in answer.drying if e.place == place.name), "")),
                )
                for place in others
                if place.difference is not None
            ],
            right=("days",),
        )
        notes.say()
    say(
        "Half warm: when, on its way up in the morning, it passes the middle between the day's lowest and "
        "highest hour; days that rise less than 3 °C are left out. Dries: how fast trays dry in the same air "
        "and mix, as a multiple; more than 1 is sun and wind."
    )
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def print_rank(answer: RankAnswer, display: Display) -> None:
    say(answer.sentence)
    span = f"{display.temp(answer.low_c)} to {display.temp(answer.high_c)}"
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
    for crop, (low_c, high_c), source in zip(answer.crops, answer.ranges_c, answer.sources, strict=True):
        say(f"{crop}, {answer.measured} from {display.temp(low_c)} to {display.temp(high_c)} ({source}):")
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
    say("To rank the places for one crop and month: traywarden places rank CROP --month 4")


def _ratio(answer: PlacesAnswer, place: str) -> str:
    found = next((e for e in answer.drying if e.place == place), None)
    if found is None or found.ratio.estimate is None:
        return "–"
    return with_interval(found.ratio, lambda x: f"{x:.1f}")
