"""`crop`: published temperatures for seed, each with its source."""

import typer

from traywarden.cli import completion
from traywarden.cli.context import JSON_OPTION, emit, settings
from traywarden.cli.tables import print_table, say
from traywarden.domain.crops import Crop
from traywarden.domain.units import Display
from traywarden.errors import UsageError, asked, did_you_mean
from traywarden.store.crops import crop_named, load_crops

crop_app = typer.Typer(no_args_is_help=True, help="Crops: the temperatures their seed comes up at.")
KINDS = ("vegetable", "flower", "herb")


def register(app: typer.Typer) -> None:
    app.add_typer(crop_app, name="crop", rich_help_panel="Set up")


def _display() -> Display:
    chosen = settings()
    return Display(chosen["display.temperature"], chosen["display.length"])


@crop_app.command("list")
def crop_list(
    kind: str = typer.Option(
        "",
        "--kind",
        "-k",
        help="Only these: " + ", ".join(KINDS) + ".",
        autocompletion=lambda incomplete: [k for k in KINDS if k.startswith(incomplete)],
    ),
    as_json: bool = JSON_OPTION,
) -> None:
    """List the crops with the temperatures their seed comes up at.

    Example: `traywarden crop list --kind flower`
    """
    wanted = kind.strip().lower()
    if wanted and wanted not in KINDS and wanted.removesuffix("s") not in KINDS:
        raise UsageError(asked(f"There is no kind of crop called “{kind}”{did_you_mean(wanted, KINDS)}."))
    crops = [c for c in load_crops().values() if not wanted or c.kind == wanted.removesuffix("s")]
    emit(crops, lambda shown: _print_crops(shown, _display()), as_json=as_json)


def _print_crops(crops: list[Crop], display: Display) -> None:
    def words(temp_c: float | None) -> str:
        return "" if temp_c is None else display.temp(temp_c, 0)

    rows = []
    for crop in crops:
        low, high = words(crop.opt_low_c), words(crop.opt_high_c)
        best = low if low == high else f"{low.split()[0]}–{high}"
        rows.append((crop.name, crop.kind, words(crop.min_c), best, words(crop.max_c), ", ".join(crop.also)))
    print_table(("crop", "kind", "minimum", "best", "maximum", "also called"), rows)
    say("Sources and days to emergence: traywarden crop show NAME")


@crop_app.command("show")
def crop_show(
    name: str = typer.Argument(..., help="The crop.", autocompletion=completion.crops),
    as_json: bool = JSON_OPTION,
) -> None:
    """Show one crop: its limits and days to emergence, each with its source.

    Example: `traywarden crop show lettuce`
    """
    emit(crop_named(name), lambda shown: _print_crop(shown, _display()), as_json=as_json)


def _print_crop(crop: Crop, display: Display) -> None:
    others = f" (also {', '.join(crop.also)})" if crop.also else ""
    say(f"{crop.name}{others}, {crop.kind}. Temperatures of the mix at seed depth:")
    rows = []
    if crop.min_c is not None:
        rows.append(("minimum", display.temp(crop.min_c), crop.source))
    if crop.opt_low_c is not None and crop.opt_high_c is not None:
        span = f"{display.temp(crop.opt_low_c)} to {display.temp(crop.opt_high_c)}"
        rows.append(("best" if crop.min_c is not None else "recommended", span, crop.source))
    if crop.max_c is not None:
        rows.append(("maximum", display.temp(crop.max_c), crop.max_source))
    if crop.base_temp_c is not None:
        rows.append(("base for degree-days", display.temp(crop.base_temp_c), crop.base_temp_source))
    if crop.light:
        rows.append(("light", crop.light, crop.light_source))
    if crop.days_in_range:
        low, high = crop.days_in_range
        rows.append(("days to emergence", f"{low:g}" if low == high else f"{low:g} to {high:g}", crop.source))
    print_table(("", "", "source"), rows)
    if crop.days_to_emergence:
        say("")
        print_table(
            ("mix at", "days to emergence"),
            [
                (display.temp(temp_c, 0), "none come up" if days is None else f"{days:g}")
                for temp_c, days in crop.days_to_emergence
            ],
        )
        unchecked = "" if crop.days_verified else " (not verified)"
        say(f"Days to emergence: {crop.days_source}{unchecked}.")
    if crop.notes:
        say(crop.notes)
    say("")
    for short, citation in crop.citations.items():
        say(f"{short}: {citation}")
