"""`notices replay`: what your settings, or others, would have told over a span of history."""

import typer

from traywarden.cli.asking import FROM_OPTION, TO_OPTION, asking, days_of
from traywarden.cli.bars import counting_bar
from traywarden.cli.context import JSON_OPTION, console, emit
from traywarden.cli.notices import notices_app
from traywarden.cli.tables import print_table, say
from traywarden.domain.units import span_words
from traywarden.services.questions.replayed import (
    DayCount,
    ReplayAnswer,
    ReplayAsked,
    ReplayedNotice,
    RuleCount,
    ask_replay,
)

RULE = typer.Option([], "--rule", help="Only this rule; may be given several times.")
SET = typer.Option([], "--set", help="A setting given otherwise, such as dry.close_above=0.1.")
ALL = typer.Option(False, "--all", help="Print every notice too, with its words.")
SHOWN_D = 14
"""Days that are listed one by one; of a longer span the busiest."""
COUNTED = ("notices", "begin", "remind", "end", "per week", "weeks", "most in a week")


def register() -> None:
    """It stands in the group of `notices`, which is registered already."""
    notices_app.command("replay")(notices_replay)


def notices_replay(
    start: str = FROM_OPTION,
    end: str = TO_OPTION,
    rule: list[str] = RULE,
    given: list[str] = SET,
    every: bool = ALL,
    as_json: bool = JSON_OPTION,
) -> None:
    """What would have been told over a span of history, with your settings or others. Nothing is sent.

    A fortnight takes seconds, a year of eight trays a minute or two.

    Example: `traywarden notices replay --from "30 days ago" --rule dry --set dry.open_delay_s=3600`
    """
    with asking() as on:
        asked = ReplayAsked(*days_of(on, start, end), tuple(rule), tuple(given))
        with counting_bar("Replaying, hour by hour", quiet=as_json) as advance:
            answer = ask_replay(on, asked, progress=advance)
        emit(answer, lambda told: _print(told, every=every), as_json=as_json)


def _print(answer: ReplayAnswer, *, every: bool) -> None:
    _say_how_many(answer)
    told = [each for each in answer.rules if each.notices]
    if told:
        print_table(
            ("rule", *COUNTED[:4], "nearest", "stated gap"), [_rule_row(each) for each in told], right=COUNTED
        )
        console.print()
        trays = [each for each in answer.by_tray if each.notices]
        rows = [(t.tray, str(t.notices), f"{t.per_week:g}", str(t.weeks), str(t.most)) for t in trays]
        print_table(("tray", "notices", *COUNTED[4:]), rows, right=COUNTED)
        console.print()
    _print_days(answer)
    if every:
        for notice in answer.notices:
            _print_notice(notice)
    elif answer.notices:
        say("Their words: --all.")
    if answer.shadowed:
        say(f"{answer.shadowed} more stood in the shadow of something else, and were never told.")
    if answer.left_out:
        say(f"Not replayed, as no history holds it: {', '.join(answer.left_out)}.")
    for remark in answer.remarks:
        say(f"It is {remark}." if remark.startswith("as if") else f"{remark[0].upper()}{remark[1:]}.")


def _say_how_many(answer: ReplayAnswer) -> None:
    number = len(answer.notices)
    with_ = f" with {', '.join(answer.changes)}" if answer.changes else ""
    say(
        f"{number} notice{'' if number == 1 else 's'} from {answer.start:%d %b %Y} to {answer.end:%d %b %Y}"
        f"{with_}; in one week {answer.week_median:g} in the median, at most {answer.week_most}."
    )
    if answer.tray_weeks:
        say(
            f"About one tray in a week with something in it: {answer.tray_week_median:g} in the median, "
            f"{answer.tray_week_mean:g} on average, at most {answer.tray_week_most}; more than three in "
            f"{100 * answer.tray_weeks_many:.0f} % of {answer.tray_weeks} such weeks."
        )


def _rule_row(each: RuleCount) -> tuple[str, ...]:
    """How many, and how far apart two beginnings about one thing were at the least."""
    nearest = "" if each.nearest_s is None else span_words(each.nearest_s)
    counts = (each.notices, each.begun, each.reminded, each.ended)
    return (each.rule, *(str(n) if n else "" for n in counts), nearest, span_words(each.gap_s))


def _print_days(answer: ReplayAnswer) -> None:
    """Every day on which something was told, or the busiest of many."""
    days = list(answer.by_day)
    if len(days) > SHOWN_D:
        busiest = sorted(days, key=lambda each: (-each.notices, each.day))[:SHOWN_D]
        say(f"The busiest {SHOWN_D} of {len(days)} days on which something was told:")
        days = sorted(busiest, key=lambda each: each.day)
    print_table(("day", "notices", "about"), [_day_row(each) for each in days], right=COUNTED)


def _day_row(each: DayCount) -> tuple[str, str, str]:
    return f"{each.day:%a %d %b %Y}", str(each.notices), ", ".join(each.rules)


def _print_notice(notice: ReplayedNotice) -> None:
    console.print(f"{notice.at:%a %d %b %H:%M}  {notice.title}", style="bold", markup=False)
    say(f"  {notice.body}")
