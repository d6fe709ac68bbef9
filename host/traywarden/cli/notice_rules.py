"""`notices rules` and `notices explain`: what is watched, and why a rule says what it says."""

from collections.abc import Sequence

import typer

from traywarden.cli import context
from traywarden.cli.asking import asking
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

STYLE = {"yes": "bold red", "no": "green", "blind": "yellow", "hold": "yellow"}


def register() -> None:
    """They stand in the group of `notices`, which is registered already."""
    notices_app.command("explain")(notices_explain)
    notices_app.command("rules")(notices_rules)


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
        at_once = "at once" if not value else f"{value:g} s"
        return span_words(value) if value >= 60 else at_once
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
        say(f"So for {span_words(for_s)}, since {clock(answer.open_since, answer.at)}.")
    turns = answer.turns
    if answer.turns_at is not None and answer.turns_in_s is not None:
        turns = f"{clock(answer.turns_at, answer.at)} (in {span_words(answer.turns_in_s)}): {turns}"
    say(f"{turns[0].upper()}{turns[1:]}.")
    if answer.shadow:
        say(f"Not told by itself now: it {answer.shadow}.")
    say("By these settings:" if answer.settings else "No settings of its own.")
    for each in answer.settings:
        says = each.says.rstrip(".")
        known_from = "as delivered" if each.known_from == "default" else each.known_from
        say(f"  {_shown(each)}: {says} ({each.key}, {known_from}).")
