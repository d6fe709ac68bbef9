"""`traywarden mix accept`, `compare`, `advice`: what readings show of the mixes."""

from pathlib import Path

import typer

from traywarden.cli import completion
from traywarden.cli.asking import asking
from traywarden.cli.context import AT_OPTION, JSON_OPTION, bench, emit
from traywarden.cli.moments import at_ms
from traywarden.cli.setup import mix_app
from traywarden.cli.tables import print_answer, say
from traywarden.cli.written import answer
from traywarden.domain.mix_advice import Finding
from traywarden.links.pictures import check_name, draw
from traywarden.services.accepting import accepting
from traywarden.services.journal import put
from traywarden.services.questions.answer_table import sentence
from traywarden.services.questions.mix_advice import MixAdviceAnswer, ask_mix_advice
from traywarden.services.questions.mix_picture import soaked_picture
from traywarden.services.questions.mix_words import (
    pair_lines,
    pair_table,
    soaked_table,
    untold_lines,
    waterings_table,
)
from traywarden.services.questions.mixes import MixCompareAnswer, ask_mix_compare
from traywarden.services.questions.moisture import DEFAULT_DAYS
from traywarden.services.questions.soaked import SoakedAnswer, ask_soaked


def register(app: typer.Typer) -> None:
    """Into the group `mix`, which `setup` has made."""
    mix_app.command("accept")(mix_accept)
    mix_app.command("compare")(mix_compare)
    mix_app.command("soaked")(mix_soaked)
    mix_app.command("advice")(mix_advice)


def mix_accept(
    name: str = typer.Argument(..., help="The mix.", autocompletion=completion.mixes),
    tray: str = typer.Option(
        "",
        "--tray",
        "-t",
        help="For this tray alone: deeper cells drain more.",
        autocompletion=completion.trays,
    ),
    value: float | None = typer.Option(
        None, "--value", help="Water held, as a fraction; default what the heads show."
    ),
    days: float = typer.Option(DEFAULT_DAYS, "--days", "-d", max=3660.0, help="How far back to learn from."),
    note: str = typer.Option("", "--note", help="Anything to remember."),
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Let the container capacity that thorough waterings show hold for a mix, from now or from --at on.

    It is written into the journal with its date, beside what the mix was set up with; `journal undo` takes it
    back. What `traywarden moisture` shows is used for nothing before it is accepted.

    Example: `traywarden mix accept "Seed mix" --tray A1`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with asking() as on:
            found = accepting(on, name, tray, value, days, at_ms=when, note=note)
        with b.store.write() as tx:
            entry = put(tx, found.draft, b.now_ms)
        answer(b, found.says, [entry], as_json=as_json)


def mix_compare(
    a: str = typer.Argument(..., help="One mix.", autocompletion=completion.mixes),
    b: str = typer.Argument(..., help="The other mix.", autocompletion=completion.mixes),
    days: float = typer.Option(DEFAULT_DAYS, "--days", "-d", max=3660.0, help="How far back to look."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Which of two mixes dries faster under equal demand, by how much, and how sure that is.

    Weather, place and how wet the mix was are allowed for, so that a hot week or a windy bench does not blame
    a mix. Where it cannot be told yet, it says what it would take.

    Example: `traywarden mix compare "Bark mix" "Peat mix" --days 60`
    """
    with asking() as on:
        answer = ask_mix_compare(on, a, b, days)
    emit(answer, _print_comparison, as_json=as_json)


def _print_comparison(found: MixCompareAnswer) -> None:
    say(found.sentence)
    if not found.a.stretches and not found.b.stretches:
        return
    print_answer(pair_table(found))
    for line in pair_lines(found):
        say(line)
    for remark in found.remarks:
        say(sentence(remark))


def mix_soaked(
    name: str = typer.Argument("", help="The mix; all unless given.", autocompletion=completion.mixes),
    days: float = typer.Option(DEFAULT_DAYS, "--days", "-d", max=3660.0, help="How far back to look."),
    picture: Path | None = typer.Option(None, "--picture", help="Draw it into this .svg or .png file."),
    as_json: bool = JSON_OPTION,
) -> None:
    """How long each mix stays soaked after a watering: hours in which roots get hardly any air.

    Soaked is above a share of container capacity (setting mix.soaked_above). The median has a 95 % interval
    over trays, and every watering is listed.

    Example: `traywarden mix soaked "Seed mix" --days 60`
    """
    if picture is not None:
        check_name(picture)
    with asking() as on:
        answer = ask_soaked(on, name, days)
    if picture is not None:
        draw(soaked_picture(answer), picture)
    emit(answer, lambda a: _print_soaked(a, picture), as_json=as_json)


def _print_soaked(answer: SoakedAnswer, picture: Path | None) -> None:
    say(answer.sentence)
    print_answer(soaked_table(answer))
    say(f"Soaked: above {answer.above_pct:g} % of container capacity. Median [95 % interval over trays].")
    if answer.waterings:
        say("\nEvery watering that brought it there:")
        print_answer(waterings_table(answer))
    for remark in answer.remarks:
        say(sentence(remark))
    if picture is not None:
        say(f"Drawn into {picture}.")


def mix_advice(
    name: str = typer.Argument("", help="The mix; all unless given.", autocompletion=completion.mixes),
    days: float = typer.Option(DEFAULT_DAYS, "--days", "-d", max=3660.0, help="How far back to look."),
    as_json: bool = JSON_OPTION,
) -> None:
    """What to change in a mix: more perlite where it stays wet too long, more compost or coir where it dries.

    Judged by the hours it stays soaked after a watering in cool weather, and the hours to its dry line in
    heat, each with its interval against a limit of yours (settings mix.…).

    Example: `traywarden mix advice "Seed mix" --days 200`
    """
    with asking() as on:
        answer = ask_mix_advice(on, name, days)
    emit(answer, _print_advice, as_json=as_json)


def _print_advice(answer: MixAdviceAnswer) -> None:
    say(answer.sentence)
    mix = ""
    for line in answer.lines:
        if line.finding == Finding.UNKNOWN:
            continue
        if line.mix != mix:
            mix = line.mix
            say(f"\n{mix} ({line.parts}):")
        say(f"  {line.weather}: {line.says}.")
        if line.advice:
            say(f"    → {line.advice[:1].upper()}{line.advice[1:]}; {line.because}.")
    if untold := untold_lines(answer):
        say("\nCannot be told yet, as three waterings of a mix are needed:")
        for words in untold:
            say(f"  {words}")
    say(f"\nLimits: {answer.limits_source}.")
    for remark in answer.remarks:
        say(sentence(remark))
