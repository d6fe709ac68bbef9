"""`notices replay` and `notices explain`: what settings would have told, and why a rule says what it says."""

from collections.abc import Sequence

import typer

from traywarden.cli import context
from traywarden.cli.asking import FROM_OPTION, TO_OPTION, asking, days_of
from traywarden.cli.context import JSON_OPTION, console, emit
from traywarden.cli.notices import notices_app
from traywarden.cli.tables import print_table, say
from traywarden.domain.clock_words import clock
from traywarden.domain.notices import severity_words
from traywarden.domain.units import span_words
from traywarden.services.questions.explained import (
    ExplainAnswer,
    RuleLine,
    UsedSetting,
    ask_explain,
    ask_rules,
)
from traywarden.services.questions.replayed import ReplayAnswer, ReplayAsked, ask_replay

RULE = typer.Option([], "--rule", help="Only this rule; may be given several times.")
SET = typer.Option([], "--set", help="A setting given otherwise, such as dry.close_above=0.1.")
SHOWN = 40
STYLE = {"yes": "bold red", "no": "green", "blind": "yellow", "hold": "yellow"}


def register() -> None:
    """They stand in the group of `notices`, which is registered already."""
    notices_app.command("replay")(notices_replay)
    notices_app.command("explain")(notices_explain)
    notices_app.command("rules")(notices_rules)


def notices_replay(
    start: str = FROM_OPTION,
    end: str = TO_OPTION,
    rule: list[str] = RULE,
    given: list[str] = SET,
    as_json: bool = JSON_OPTION,
) -> None:
    """What would have been told over a span of history, with your settings or others. Nothing is sent.

    Example: `traywarden notices replay --from "30 days ago" --rule dry --set dry.open_delay_s=3600`
    """
    with asking() as on:
        asked = ReplayAsked(*days_of(on, start, end), tuple(rule), tuple(given))
        emit(ask_replay(on, asked), _print_replay, as_json=as_json)


def _print_replay(answer: ReplayAnswer) -> None:
    number = len(answer.notices)
    with_ = f" with {', '.join(answer.changes)}" if answer.changes else ""
    say(
        f"{number} notice{'' if number == 1 else 's'} from {answer.start:%d %b %Y} to {answer.end:%d %b %Y}"
        f"{with_}; about one tray in one week {answer.tray_week_median:g} in the median, at most "
        f"{answer.tray_week_most}."
    )
    print_table(
        ("rule", "notices", "episodes", "back within a day"),
        [
            (each.rule, str(each.notices), str(each.episodes), str(each.back_within_a_day))
            for each in answer.rules
        ],
    )
    for notice in answer.notices[-SHOWN:]:
        console.print(f"{notice.at:%a %d %b %H:%M}  {notice.title}", style="bold", markup=False)
        say(f"  {notice.body}")
    if number > SHOWN:
        say(f"The last {SHOWN} are shown; all of them with --json.")
    if answer.shadowed:
        say(f"{answer.shadowed} more would have stood in the shadow of a quiet probe.")
    if answer.left_out:
        say(f"Not replayed, as no history holds it: {', '.join(answer.left_out)}.")
    for remark in answer.remarks:
        say(f"It is {remark}." if remark.startswith("as if") else f"{remark[0].upper()}{remark[1:]}.")


def notices_explain(
    rule: str = typer.Argument(..., help="The rule, such as dry or frost; `notices rules` has all."),
    subject: str = typer.Argument("", help="The tray, place or probe it is asked of; none for the host."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Why a rule says yes, no or blind of something now, by which levels, and when it would turn.

    Example: `traywarden notices explain dry A1`
    """
    with asking() as on:
        emit(ask_explain(on, rule, subject), _print_explain, as_json=as_json)


def notices_rules(as_json: bool = JSON_OPTION) -> None:
    """What is watched: every rule, of what it asks what, and how soon its notice wants you.

    Example: `traywarden notices rules`
    """
    emit(ask_rules(context.settings()), _print_rules, as_json=as_json)


def _print_rules(rules: Sequence[RuleLine]) -> None:
    print_table(
        ("rule", "asked of", "asks", "how soon"),
        [(each.rule, each.of, each.question, severity_words(each.severity)) for each in rules],
    )
    say("Why one says what it says: traywarden notices explain RULE NAME")


def _shown(setting: UsedSetting) -> str:
    """A setting's value with its unit; a span of time in words."""
    value = setting.value
    if setting.unit == "s" and isinstance(value, int | float):
        return span_words(value) if value else "at once"
    return f"{f'{value:g}' if isinstance(value, float) else value} {setting.unit}".rstrip()


def _print_explain(answer: ExplainAnswer) -> None:
    where = f" ({answer.place})" if answer.place and answer.place != answer.subject else ""
    console.print(f"{answer.subject}{where}: {answer.question}", style="bold", markup=False)
    console.print(answer.answer.capitalize(), style=STYLE[answer.answer], end="", markup=False)
    say(f": {answer.reason}.")
    if answer.stage:
        say(f"Its stage is {answer.stage}.")
    if answer.open_since is not None:
        for_s = (answer.at - answer.open_since).total_seconds()
        say(f"It holds for {span_words(for_s)}, since {clock(answer.open_since, answer.at)}.")
    turns = answer.turns
    if answer.turns_at is not None and answer.turns_in_s is not None:
        turns = f"{clock(answer.turns_at, answer.at)} (in {span_words(answer.turns_in_s)}): {turns}"
    say(f"{turns[0].upper()}{turns[1:]}.")
    if answer.shadow:
        say(f"Not told now: {answer.shadow}.")
    say("By these settings:" if answer.settings else "No settings of its own.")
    for each in answer.settings:
        says = each.says.rstrip(".")
        known_from = "as delivered" if each.known_from == "default" else each.known_from
        say(f"  {_shown(each)}: {says} ({each.key}, {known_from}).")
