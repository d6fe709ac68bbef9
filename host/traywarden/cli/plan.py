"""`traywarden plan`: when to sow, counted back from the day plants are wanted."""

import csv
from datetime import UTC, date, datetime
from pathlib import Path

import typer
from typer.core import TyperGroup

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.counting_back import Days
from traywarden.errors import ImportFileError, UsageError
from traywarden.links.calendar import check_calendar_name, write_calendar
from traywarden.links.pictures import check_name, draw
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.plan import (
    CropPlan,
    PlanAsked,
    SeasonPlan,
    WarmAnswer,
    ask_plan,
    ask_warm,
)
from traywarden.services.questions.plan_calendar import plan_days
from traywarden.services.questions.plan_picture import plan_picture
from traywarden.services.questions.plan_why import date_words, ends_words, why_words, years_words
from traywarden.services.questions.plan_words import span_words

OPEN = (0.15, 0.85)
"""Chances between these are worth a row: on other days it is as good as known."""


class _CropFirst(TyperGroup):
    """`plan tomato …` is `plan crop tomato …`: the crop is what a grower says first."""

    def parse_args(self, ctx: typer.Context, args: list[str]) -> list[str]:  # type: ignore[override]
        if args and not args[0].startswith("-") and args[0] not in self.commands:
            args = ["crop", *args]
        return super().parse_args(ctx, args)


plan_app = typer.Typer(
    cls=_CropFirst, no_args_is_help=True, help="When to sow. `plan tomato` is short for `plan crop tomato`."
)
PICTURE_OPTION = typer.Option(None, "--picture", help="Draw it into this .svg or .png file.")
ICS_OPTION = typer.Option(None, "--ics", help="Write it into this .ics file, for a calendar program.")
PLACE_OPTION = typer.Option(
    ..., "--place", "-p", help="Where its tray will stand.", autocompletion=completion.places
)


def register(app: typer.Typer) -> None:
    app.add_typer(plan_app, name="plan", rich_help_panel=PANEL)


@plan_app.command("crop")
def plan_crop(
    crop: str = typer.Argument(..., help="What to raise.", autocompletion=completion.crops),
    place: str = PLACE_OPTION,
    plants_out: str = typer.Option(
        ..., "--plants-out", help="The day plants are to be set out, such as 2026-05-15."
    ),
    picture: Path | None = PICTURE_OPTION,
    ics: Path | None = ICS_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """When to sow one crop so that its plants are ready on a day, and whether soil is warm enough then.

    Counted back through the published weeks of raising and through emergence in the soil that past years had
    in that place: its own readings, and past weather that you imported.

    Example: `traywarden plan crop tomato --place "Cold frame" --plants-out 2026-05-15 --ics tomato.ics`
    """
    _check(picture, ics)
    with asking() as on:
        answer = ask_plan(on, [PlanAsked(crop, place, _day(plants_out, "--plants-out"))])
        _write(on, answer, picture, ics)
    emit(answer, lambda a: _print(a, picture, ics), as_json=as_json)


@plan_app.command("season")
def plan_season(
    wanted: list[str] = typer.Argument(
        ..., help="A CSV file with the columns crop, place and plants_out; or crops, with the options."
    ),
    place: str = typer.Option(
        "",
        "--place",
        "-p",
        help="Where trays stand, for crops without one.",
        autocompletion=completion.places,
    ),
    plants_out: str = typer.Option("", "--plants-out", help="The day, for crops without one."),
    picture: Path | None = PICTURE_OPTION,
    ics: Path | None = ICS_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """A season's plan: several crops, each with its place and day, as a table, a picture and a calendar.

    Example: `traywarden plan season spring.csv --picture spring.svg --ics spring.ics`
    """
    _check(picture, ics)
    asked = []
    for word in wanted:
        if Path(word).suffix.lower() == ".csv" or Path(word).is_file():
            asked += _file(Path(word), place, plants_out)
        elif not place or not plants_out:
            raise UsageError(
                f"“{word}” needs a place and a day; add --place and --plants-out, or give a CSV file."
            )
        else:
            asked.append(PlanAsked(word, place, _day(plants_out, "--plants-out")))
    with asking() as on:
        answer = ask_plan(on, asked)
        _write(on, answer, picture, ics)
    emit(answer, lambda a: _print(a, picture, ics), as_json=as_json)


@plan_app.command("warm")
def plan_warm(
    crop: str = typer.Argument(..., help="The crop.", autocompletion=completion.crops),
    place: str = PLACE_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """First and last days on which soil of a place is likely warm enough to sow a crop.

    Example: `traywarden plan warm lettuce --place "Open bench"`
    """
    with asking() as on:
        answer = ask_warm(on, crop, place)
    emit(answer, _print_warm, as_json=as_json)


def _day(text: str, where: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise UsageError(f"{where} is “{text}”; write the day like 2026-05-15.") from error


def _file(path: Path, place: str, plants_out: str) -> list[PlanAsked]:
    try:
        rows = list(csv.DictReader(path.read_text(encoding="utf-8-sig").splitlines()))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise ImportFileError(f"{path} cannot be read ({error}); give a CSV file.") from error
    if not rows or "crop" not in rows[0]:
        raise ImportFileError(
            f"{path} needs a header with crop, place and plants_out, and a row for each sowing."
        )
    asked = []
    for line, row in enumerate(rows, 2):
        crop, where, day = ((row.get(key) or "").strip() for key in ("crop", "place", "plants_out"))
        if not crop:
            continue
        where, day = where or place, day or plants_out
        if not where or not day:
            raise ImportFileError(f"{path}, line {line}: “{crop}” needs a place and plants_out.")
        asked.append(PlanAsked(crop, where, _day(day, f"plants_out in line {line} of {path}")))
    return asked


def _check(picture: Path | None, ics: Path | None) -> None:
    if picture is not None:
        check_name(picture)
    if ics is not None:
        check_calendar_name(ics)


def _write(on: Ground, answer: SeasonPlan, picture: Path | None, ics: Path | None) -> None:
    if picture is not None:
        draw(plan_picture(answer), picture)
    if ics is not None:
        now = datetime.fromtimestamp(on.now_ms / 1000, UTC)
        write_calendar(ics, f"{on.garden.name}: sowing", on.garden.slug, plan_days(answer), now)


def _print(answer: SeasonPlan, picture: Path | None, ics: Path | None) -> None:
    say(answer.sentence)
    if len(answer.plans) == 1 and answer.plans[0].advice:
        say(answer.plans[0].advice)
    say("")
    notes = Notes()
    several = len({plan.place for plan in answer.plans}) > 1
    print_table(
        (
            "crop",
            "place",
            "sow",
            "80 % of years" if any(plan.years for plan in answer.plans) else "between",
            "seedlings",
            "harden off from",
            "plant out",
            "warm enough",
            "",
        ),
        [
            (
                plan.crop,
                plan.place if several else "",
                _short(plan.sow.usual) if plan.sow else "–",
                _band(plan.sow),
                _band(plan.emerge),
                date_words(plan.harden_from),
                date_words(plan.plants_out),
                _chance(plan),
                "".join(notes.mark(text) for text in _marks(plan, alone=len(answer.plans) == 1)),
            )
            for plan in answer.plans
        ],
        spare=("harden off from", "warm enough"),
    )
    notes.say()
    if len(answer.plans) == 1:
        for line in why_words(answer.plans[0]):
            say(line)
    if picture is not None:
        say(f"Drawn into {picture}.")
    if ics is not None:
        say(f"Written into {ics}; open it with a calendar program. Made again, it changes the same entries.")


def _marks(plan: CropPlan, *, alone: bool) -> list[str]:
    texts = [plan.reason.removesuffix(".")]
    if not alone:
        texts += [plan.advice.removesuffix("."), f"counted in {plan.counted_by}"]
    return [text for text in texts if text]


def _print_warm(answer: WarmAnswer) -> None:
    say(answer.sentence)
    for spell in answer.spells:
        say(f"Likely {ends_words(spell)}.")
    say(f"Warm enough: {answer.limits}.")
    rows = [
        (date_words(day.day), _share(day.chance), f"{_share(day.low)} to {_share(day.high)}")
        for day in answer.chances
        if day.day.day in (1, 11, 21) and OPEN[0] < day.chance < OPEN[1]
    ]
    if rows:
        say("")
        print_table(("on", "chance", "80 % band"), rows, right=("chance",))
        low, high = (f"{share * 100:.0f} %" for share in OPEN)
        say(f"Left out: days on which the chance is {low} or less, or {high} or more.")
    for line in years_words(answer.witnesses, answer.relation):
        say(line)
    if answer.reason:
        say(f"{answer.reason[:1].upper()}{answer.reason[1:]}.")


def _short(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"


def _band(days: Days | None) -> str:
    return "" if days is None else span_words(days.early, days.late)


def _chance(plan: CropPlan) -> str:
    return "" if plan.warm_at_sowing is None else _share(plan.warm_at_sowing.chance)


def _share(part: float) -> str:
    return f"{part * 100:.0f} %"
