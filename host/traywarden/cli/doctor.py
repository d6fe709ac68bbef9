"""`traywarden doctor`: is everything in order?"""

import typer

from traywarden.cli import context
from traywarden.cli.context import JSON_OPTION, console, emit
from traywarden.cli.tables import print_table, say
from traywarden.domain.clock_words import ago
from traywarden.domain.units import number
from traywarden.services.doctor import DoctorAnswer, ProbeLine, ask_doctor


def register(app: typer.Typer) -> None:
    app.command("doctor")(doctor)


def doctor(as_json: bool = JSON_OPTION) -> None:
    """Look at versions, settings, broker, store, probes and notices, and say what to do about what is wrong.

    Secrets are masked, so the output can be shown to somebody who helps. Ends with exit code 1 when
    something is wrong.

    Example: `traywarden doctor`
    """
    answer = ask_doctor(context.settings(), context.now_ms())
    emit(answer, _print, as_json=as_json)
    if not answer.well:
        raise typer.Exit(1)


def _print(answer: DoctorAnswer) -> None:
    say(f"Traywarden {answer.version}, Python {answer.python}")
    say(", ".join(f"{name} {found}" for name, found in answer.libraries.items()))
    say(f"Home: {answer.home}\n")
    for check in answer.checks:
        mark, style = ("✓", "green") if check.ok else ("✗", "bold red")
        console.print(f"{mark} {check.name}: ", style=style, end="", markup=False)
        say(check.says + (f" → {check.remedy}" if check.remedy and not check.ok else ""))
    if answer.probes:
        say("")
        print_table(
            ("probe", "last reading", "battery", "heads"),
            [
                (
                    line.probe,
                    "never" if line.silent_s is None else ago(line.silent_s),
                    number(line.battery_v, 2, " V") if line.battery_v is not None else "",
                    _heads(line),
                )
                for line in answer.probes
            ],
        )
    say("")
    print_table(("setting", "value"), [(key, str(value)) for key, value in answer.settings.items()])


def _heads(line: ProbeLine) -> str:
    """“1 Tomatoes, 2 Lettuce”: which probe stands in the row; its own air sensor goes without saying."""
    short = (words.removeprefix(f"{line.probe}/").replace(" in ", " ", 1) for words in line.heads)
    return ", ".join(words for words in short if words != "0")
