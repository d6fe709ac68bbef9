"""`traywarden week`: what a week brought, on screen or as one file to keep."""

from pathlib import Path

import typer

from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import print_table, say
from traywarden.domain.clock_words import day_words
from traywarden.domain.units import Display, number
from traywarden.errors import UsageError
from traywarden.links.paper import as_pdf, browser
from traywarden.services.questions.days import day_of
from traywarden.services.questions.week import WeekAnswer, ask_week


def register(app: typer.Typer) -> None:
    app.command("week", rich_help_panel=PANEL)(week)


def week(
    file: Path | None = typer.Argument(None, help="Write it into this .html file too."),
    ending: str = typer.Option("", "--ending", help="Last day of the week; default today."),
    pdf: bool = typer.Option(False, "--pdf", help="Print the file as PDF beside it, by Chromium."),
    as_json: bool = JSON_OPTION,
) -> None:
    """What a week brought: waterings, driest hours, frame against bench, lows and highs, and what comes.

    The file needs nothing beside it: send it, keep it, print it.

    Example: `traywarden week week.html --ending 2026-03-15 --pdf`
    """
    _check(file, pdf=pdf)
    with asking() as on:
        display = on.display
        answer = ask_week(on, day_of(on, ending))
    if file is not None:
        _write(answer, display, file, pdf=pdf)
    emit(answer, lambda a: _print(a, display), as_json=as_json)
    if file is not None and not as_json:
        say(f"\nWritten into {file}" + (f" and {file.with_suffix('.pdf')}." if pdf else "."))


def _check(file: Path | None, *, pdf: bool) -> None:
    if file is not None and file.suffix.lower() not in (".html", ".htm"):
        raise UsageError(f"The week is written as a page; end “{file.name}” in .html.")
    if pdf and file is None:
        raise UsageError("Give the file to print too: traywarden week week.html --pdf")
    if pdf:
        browser()


def _write(answer: WeekAnswer, display: Display, file: Path, *, pdf: bool) -> None:
    from traywarden.web.week import week_file  # loads what serves pages, of no use on screen

    try:
        file.write_text(week_file(answer, display), encoding="utf-8")
    except OSError as error:
        raise UsageError(f"{file} cannot be written ({error.strerror}); give another folder.") from error
    if pdf:
        as_pdf(file, file.with_suffix(".pdf"))


def _print(answer: WeekAnswer, display: Display) -> None:
    say(answer.sentence)
    say("")
    print_table(
        ("tray", "place", "watered", "driest", "when", "below line", "soil mean", "up"),
        [
            (
                tray.tray,
                tray.place or "",
                f"{tray.by_hand} ×" + (f", rain {tray.rains} ×" if tray.rains else ""),
                number(tray.driest_pct, 0, " %"),
                "" if tray.driest is None else f"{tray.driest:%a %H:%M}",
                number(tray.below_line_h, 0, " h"),
                "–" if tray.soil_mean_c is None else display.temp(tray.soil_mean_c),
                "" if tray.counted is None else f"{tray.counted}",
            )
            for tray in answer.trays
        ],
        right=("driest", "below line", "soil mean", "up"),
        spare=("when", "place"),
    )
    for comparison in answer.comparisons:
        say(f"\n{comparison.sentence}")
    if answer.places:
        say("")
        print_table(
            ("place", "", "lowest", "on", "highest", "on "),
            [
                (
                    place.place,
                    place.measured,
                    "–" if place.low_c is None else display.temp(place.low_c),
                    "" if place.low_on is None else day_words(place.low_on, answer.last_day),
                    "–" if place.high_c is None else display.temp(place.high_c),
                    "" if place.high_on is None else day_words(place.high_on, answer.last_day),
                )
                for place in answer.places
            ],
            right=("lowest", "highest"),
        )
    if answer.coming:
        say("\nWhat comes:")
    for coming in answer.coming:
        say(f"  {coming.subject}: {coming.says}" if coming.subject else f"  {coming.says}")
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:].rstrip('.')}.")
