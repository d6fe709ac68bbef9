"""`traywarden emergence`: how far the seed has come, when it will be up, whether it is late and why."""

from datetime import datetime

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking, quoted
from traywarden.cli.context import JSON_OPTION, console, emit
from traywarden.cli.learned_tables import print_learned
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.clock_words import day_words
from traywarden.domain.lateness import Verdict
from traywarden.domain.units import Display
from traywarden.errors import UsageError
from traywarden.services.questions.emergence import ask_emergence
from traywarden.services.questions.emergence_answer import (
    LATE,
    Between,
    EmergenceAnswer,
    TrayEmergence,
)
from traywarden.services.questions.emergence_picture import way_of
from traywarden.services.questions.emergence_words import (
    basis_words,
    degree_day_words,
    late_trays,
    summary_words,
    unsure_words,
    warmth_words,
)
from traywarden.services.questions.learned import ask_learned
from traywarden.services.questions.plan_why import date_words

CELLS, NARROW_CELLS, WIDE = 48, 30, 76


def register(app: typer.Typer) -> None:
    app.command("emergence", rich_help_panel=PANEL)(emergence)


def emergence(
    tray: str = typer.Argument("", help="One tray; default all.", autocompletion=completion.trays),
    learned: bool = typer.Option(
        False, "--learned", help="What your own records taught: factors by crop and lot."
    ),
    crop: str = typer.Option("", "--crop", "-c", help="With --learned.", autocompletion=completion.crops),
    as_json: bool = JSON_OPTION,
) -> None:
    """When seed will come up: progress from the mix's own temperature, with an 80 % band.

    For one tray a small picture, why it is late if it is, and degree-days as a second opinion; for all trays
    a table.

    Example: `traywarden emergence "Tomatoes 1"`, or `traywarden emergence --learned`
    """
    if crop and not learned:
        raise UsageError("A crop is asked about with --learned; otherwise name a tray, or none for all.")
    if learned:
        if tray:
            raise UsageError("What was learned is asked by crop: emergence --learned --crop tomato")
        with asking() as on:
            taught = ask_learned(on, crop)
        emit(taught, print_learned, as_json=as_json)
        return
    with asking() as on:
        answer, display = ask_emergence(on, tray), on.display
    one = _print_one if tray else _print_all
    emit(answer, lambda a: one(a, display), as_json=as_json)


def _print_all(answer: EmergenceAnswer, display: Display) -> None:
    late = late_trays(answer)
    why = f" Why: traywarden emergence {quoted(late[0])}" if late else ""
    for line in summary_words(answer, why, "; why stands below"):
        say(line)
    notes = Notes()
    print_table(
        ("tray", "crop", "sown", "state", "done", "first up", "half up", ""),
        [
            (
                t.tray,
                t.crop or "",
                day_words(t.sown, answer.at) if t.sown else "",
                t.state,
                "" if t.done is None else f"{t.done.expected * 100:.0f} %",
                day_words(t.up_since, answer.at) if t.up_since else _band(t.first, answer.at),
                _band(t.half, answer.at),
                notes.mark(_remark(t)),
            )
            for t in answer.trays
        ],
        right=("done",),
        spare=("sown", "done"),
    )
    say("First and half up: expected day, in brackets the 80 % band. Done: of the way to half up.")
    notes.say()


def _remark(tray: TrayEmergence) -> str:
    if tray.done is None and tray.state != "nothing sown":
        return tray.says.rstrip(".").removeprefix("It cannot be told: ")
    if tray.state == "nothing sown" or tray.basis.startswith("published days to emergence"):
        return ""
    return f"weaker: {tray.basis_says}"


def _print_one(answer: EmergenceAnswer, display: Display) -> None:
    (tray,) = answer.trays
    say(f"{tray.tray}{f' ({tray.place})' if tray.place else ''}: {tray.says}")
    if tray.sown is None:
        return
    lot = f", lot {tray.lot}" if tray.lot else ""
    seeds = f"{tray.seeds} seeds" if tray.seeds_known else f"about {tray.seeds} seeds (not written down)"
    say(f"Sown {day_words(tray.sown, answer.at)}, {tray.days_since_sowing:.0f} days ago{lot}, {seeds}.")
    if tray.done is not None:
        _picture(tray, answer.at)
        low, high = sorted((tray.done.low, tray.done.high))
        say(
            f"Progress {tray.done.expected * 100:.0f} % of the way to half up "
            f"(80 %: {low * 100:.0f} to {high * 100:.0f} %)."
        )
    say(warmth_words(tray, display))
    for why in tray.causes:
        if why.verdict != Verdict.NO:
            say(f"  {why.cause}: {why.verdict}; {why.says}.")
    ruled_out = [why.cause for why in tray.causes if why.verdict == Verdict.NO]
    if ruled_out:
        say(f"  No sign of: {', '.join(ruled_out)}.")
    if tray.state == LATE and tray.looked is None:
        say(f"  If it is up, write it down: traywarden emerged {quoted(tray.tray)} --count N")
    if tray.degree_days is not None:
        say(degree_day_words(tray, display, answer.at))
        say(f"  From {tray.degree_days.source}.")
    _print_limits(tray)


def _print_limits(tray: TrayEmergence) -> None:
    basis = basis_words(tray)
    say(basis if tray.factor is None else f"{basis.removesuffix('.')}: traywarden emergence --learned")
    if words := unsure_words(tray):
        say(words)
    if tray.outlook:
        say(f"Ahead: {tray.outlook}.")


def _picture(tray: TrayEmergence, now: datetime) -> None:
    """Two lines over the days from sowing: where the bands of first and half emergence lie, and now."""
    way = way_of(tray, now)
    if way is None:
        return
    cells = CELLS if console.width >= WIDE else NARROW_CELLS

    def at(part: float) -> int:
        return min(int(part * cells), cells - 1)

    left, right = date_words(way.begins), date_words(way.ends)
    middle = [" "] * cells
    middle[max(min(at(way.now) - 1, cells - 3), 0) : max(min(at(way.now) + 2, cells), 3)] = "now"
    say("")
    console.print(f"  {'':6}{left:<8}{'':{max(cells - 8 - len(right), 1)}}{right}", markup=False)
    for band in way.bands:
        line = ["·"] * cells
        if band.low is not None:
            for cell in range(at(band.low), at(band.high) + 1):
                line[cell] = "▒"
            if band.open:
                line[-1] = "▶"
        line[at(way.now)] = "│"
        if band.expected is not None:
            line[at(band.expected)] = "●"
        console.print(f"  {band.name:6}{''.join(line)}", markup=False)
    console.print(f"  {'':6}{''.join(middle)}", markup=False)


def _band(band: Between | None, now: datetime) -> str:
    if band is None or band.expected is None:
        return "" if band is None else "not foreseen"
    low, high = (_short(end, band.expected) for end in (band.low, band.high))
    at = band.expected
    year = f" {at.year}" if at.year != now.year else ""
    return f"{at.day} {at:%b}{year} ({low}–{high})"


def _short(at: datetime | None, beside: datetime) -> str:
    """“22”, or “2 Dec” in another month."""
    if at is None:
        return "?"
    return f"{at.day}" if (at.year, at.month) == (beside.year, beside.month) else f"{at.day} {at:%b}"
