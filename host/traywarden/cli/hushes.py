"""`notices hush`, `hushed`, `unhush`: nothing is sent until a time; `worth`: what notices led to."""

import typer

from traywarden.cli.asking import asking
from traywarden.cli.context import JSON_OPTION, bench, emit
from traywarden.cli.tables import print_table, say
from traywarden.domain.clock_words import clock
from traywarden.domain.units import span_words
from traywarden.services.hushing import Wish, end_hush, put_hush
from traywarden.services.questions.ground import ground
from traywarden.services.questions.hushed import HushedAnswer, HushLine, ask_hushed, hush_line
from traywarden.services.questions.worth import DAYS, WorthAnswer, ask_worth

TRAY = typer.Argument("", help="The tray to hush.")
PLACE = typer.Option("", "--place", help="Hush every tray in this place instead.")
ALL = typer.Option(False, "--all", help="Hush the whole garden instead.")
RULE = typer.Option("", "--rule", help="Hush this rule alone, such as dry; default every rule.")
UNTIL = typer.Option(..., "--until", help="“tonight”, “tomorrow morning”, “monday”, “18:00”, “3 h” …")
WHY = typer.Option("", "--why", help="Why, for whoever wonders later.")
BY = typer.Option("", "--by", help="Who asks for it; default the account of this computer.")


def register(app: typer.Typer) -> None:
    app.command("hush")(hush)
    app.command("hushed")(hushed)
    app.command("unhush")(unhush)
    app.command("worth")(worth)


def hush(
    tray: str = TRAY,
    place: str = PLACE,
    everything: bool = ALL,
    rule: str = RULE,
    until: str = UNTIL,
    why: str = WHY,
    by: str = BY,
    as_json: bool = JSON_OPTION,
) -> None:
    """Send nothing about a tray (or a place, or all of it) until a time; what still holds then is told then.

    Example: `traywarden notices hush A1 --rule dry --until tonight --why "drying off before potting up"`
    """
    wish = Wish(until, tray, place, everything, rule, by, why)
    with bench() as b:
        with b.store.write() as tx:
            on = ground(tx, b.garden, b.settings, b.now_ms)
            made = hush_line(on, put_hush(tx, wish, b.settings, on.now_ms))
        emit(made, lambda line: say(_kept(line)), as_json=as_json)


def hushed(
    everything: bool = typer.Option(False, "--all", help="Also those that are over."),
    as_json: bool = JSON_OPTION,
) -> None:
    """What is hushed now: until when, by whom and why.

    Example: `traywarden notices hushed`
    """
    with asking() as on:
        emit(ask_hushed(on, everything=everything), _print, as_json=as_json)


def unhush(
    number: int = typer.Argument(..., help="The number that `hushed` shows.", min=1, max=2**31 - 1),
    by: str = BY,
    as_json: bool = JSON_OPTION,
) -> None:
    """Take a hush back; what it kept quiet and still holds is told at once.

    Example: `traywarden notices unhush 3`
    """
    with bench() as b:
        with b.store.write() as tx:
            on = ground(tx, b.garden, b.settings, b.now_ms)
            ended = hush_line(on, end_hush(tx, number, by, on.now_ms))
        emit(ended, lambda line: say(f"{about(line)} is heard of again."), as_json=as_json)


def worth(
    days: float = typer.Option(DAYS, "--days", min=1, max=3660, help="How far back to look."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Which notices led to something in the journal, and which setting would spare some of the others.

    Nothing is changed: what is proposed is for you to take or to leave.

    Example: `traywarden notices worth --days 90`
    """
    with asking() as on:
        emit(ask_worth(on, days), _print_worth, as_json=as_json)


def _print_worth(answer: WorthAnswer) -> None:
    if not answer.lines:
        say(f"No notice of the last {answer.days:g} days can be judged yet.")
        return
    told, answered = (sum(getattr(each, name) for each in answer.rules) for name in ("told", "answered"))
    say(f"Of {told} notices of the last {answer.days:g} days, {answered} led to something in the journal.")
    print_table(
        ("what", "told", "led to something", "within", "told twice or more in vain"),
        [
            (
                each.words,
                str(each.told),
                str(each.answered),
                span_words(each.within_s),
                ", ".join(each.in_vain),
            )
            for each in answer.rules
        ],
        right=("told", "led to something"),
    )
    if answered < told / 2:
        say("Only what is in the journal counts: write down what you do, or tap “done” in a notice.")
    if answer.waiting:
        say(f"{answer.waiting} told lately may still lead to something and are not counted.")
    for proposal in answer.proposals:
        say(f"\n{proposal.says}")
        say(f"  To have it so: {proposal.command}")


def about(line: HushLine) -> str:
    """“Tray A1”, “Place Cold frame, rule dry”, “The whole garden”."""
    what = "The whole garden" if line.about == "all" else f"{line.about.capitalize()} {line.name}"
    return f"{what}, rule {line.rule}" if line.rule else what


def _kept(line: HushLine) -> str:
    return (
        f"{about(line)}: nothing is sent until {clock(line.until, line.since)}. "
        f"Take it back with: traywarden notices unhush {line.hush}"
    )


def _print(answer: HushedAnswer) -> None:
    if not answer.hushes:
        say("Nothing is hushed.")
        return
    print_table(
        ("hush", "what", "until", "by", "why", ""),
        [
            (str(h.hush), about(h), clock(h.until, answer.at), h.who, h.why, "" if h.holds else "over")
            for h in answer.hushes
        ],
    )
    if answer.held:
        say(f"{answer.held} {'notice waits' if answer.held == 1 else 'notices wait'} for a hush to end.")
