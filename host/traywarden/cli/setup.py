"""`garden`, `place` and `mix`: what the garden is made of."""

from dataclasses import dataclass

import typer

from traywarden.cli import completion
from traywarden.cli.context import JSON_OPTION, bench, emit, home, now_ms, opened_store
from traywarden.cli.tables import print_table, say
from traywarden.domain.garden import Garden, Mix, Place, PlaceKind, parts_words
from traywarden.errors import UsageError
from traywarden.services.setting_up import parts_from_text
from traywarden.store import garden as store
from traywarden.store import journal as journal_store

garden_app = typer.Typer(no_args_is_help=True, help="The garden itself: name, time zone, position.")
place_app = typer.Typer(no_args_is_help=True, help="Places: the spots where trays stand.")
mix_app = typer.Typer(no_args_is_help=True, help="Potting mixes and what they hold of water.")


def register(app: typer.Typer) -> None:
    app.add_typer(garden_app, name="garden", rich_help_panel="Set up")
    app.add_typer(place_app, name="place", rich_help_panel="Set up")
    app.add_typer(mix_app, name="mix", rich_help_panel="Set up")


@dataclass(frozen=True, slots=True)
class GardenAnswer:
    garden: Garden
    home: str
    places: int
    trays: int


@garden_app.command("set")
def garden_set(
    name: str = typer.Argument(..., help="What you call the garden."),
    time_zone: str = typer.Option(
        ..., "--time-zone", "-z", help="Its time zone, such as Europe/Lisbon: days and clock times follow it."
    ),
    latitude: float | None = typer.Option(None, help="Degrees north of the equator, if known."),
    longitude: float | None = typer.Option(None, help="Degrees east of Greenwich, if known."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Make the garden, or change its name, time zone or position.

    Example: `traywarden garden set "Hill garden" --time-zone Europe/Lisbon --latitude 38.7 --longitude -9.1`
    """
    with opened_store() as (opened, _), opened.write() as tx:
        made = store.set_garden(tx, name, time_zone, latitude, longitude, now_ms=now_ms())
        answer = GardenAnswer(made, str(home()), len(store.places(tx)), len(store.trays(tx)))
    emit(answer, _print_garden, as_json=as_json)


@garden_app.command("show")
def garden_show(as_json: bool = JSON_OPTION) -> None:
    """Show the garden: name, time zone, position, and where its store lies.

    Example: `traywarden garden show`
    """
    with bench() as b, b.store.read() as tx:
        answer = GardenAnswer(b.garden, str(home()), len(store.places(tx)), len(store.trays(tx)))
    emit(answer, _print_garden, as_json=as_json)


def _print_garden(answer: GardenAnswer) -> None:
    garden = answer.garden
    where = ""
    if garden.latitude_deg is not None and garden.longitude_deg is not None:
        where = f" at {garden.latitude_deg:g}°, {garden.longitude_deg:g}°"
    say(
        f"Garden “{garden.name}” in {garden.time_zone}{where}: {_count(answer.places, 'place')}, "
        f"{_count(answer.trays, 'tray')}, kept in {answer.home}."
    )
    say(f"Probes send to traywarden/v1/{garden.slug}/<probe>/readings.")


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


@place_app.command("add")
def place_add(
    name: str = typer.Argument(..., help="What you call the place."),
    kind: str = typer.Option(
        ...,
        "--kind",
        "-k",
        help="One of: " + ", ".join(PlaceKind) + ".",
        autocompletion=lambda incomplete: [k for k in PlaceKind if k.startswith(incomplete)],
    ),
    covered: bool | None = typer.Option(
        None, "--covered/--open", help="Whether rain is kept off; follows from the kind unless given."
    ),
    note: str = typer.Option("", help="Anything to remember."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Add a place where trays stand.

    Example: `traywarden place add "South frame" --kind "cold frame"`
    """
    kind = kind.strip().lower().replace("_", " ").replace("-", " ")
    with bench() as b, b.store.write() as tx:
        place = store.add_place(tx, name, kind, covered, note)
    emit(place, _print_place, as_json=as_json)


def _print_place(place: Place) -> None:
    rain = "rain is kept off" if place.covered else "rain reaches it"
    article = "an" if place.kind[0] in "aeiou" else "a"
    say(f"Place “{place.name}” is {article} {place.kind}; {rain}.")


@place_app.command("list")
def place_list(as_json: bool = JSON_OPTION) -> None:
    """List the places.

    Example: `traywarden place list`
    """
    with bench() as b, b.store.read() as tx:
        places = store.places(tx)
    emit(places, _print_places, as_json=as_json)


def _print_places(places: list[Place]) -> None:
    if not places:
        say('There is no place yet; add one with: traywarden place add "Open bench" --kind "open bench"')
        return
    rows = [(p.name, p.kind, "kept off" if p.covered else "reaches it", p.note) for p in places]
    print_table(("place", "kind", "rain", "note"), rows)


CAPACITY_OPTION = typer.Option(
    None,
    "--container-capacity",
    help="Water held after a thorough watering has drained, as a fraction of the volume (default 0.55).",
)
DRY_LINE_OPTION = typer.Option(
    None, "--dry-line", help="Water at which it must be watered, as a fraction (default: half the capacity)."
)


@mix_app.command("add")
def mix_add(
    name: str = typer.Argument(..., help="What you call the mix."),
    parts: str = typer.Option(..., "--parts", "-p", help="Parts by volume: “perlite 2, compost 1, coir 1”."),
    container_capacity: float | None = CAPACITY_OPTION,
    dry_line: float | None = DRY_LINE_OPTION,
    note: str = typer.Option("", help="Anything to remember."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Add a potting mix: what is in it, and how much water it holds.

    Example: `traywarden mix add "Seed mix" --parts "perlite 2, compost 1, coir 1" --dry-line 0.27`
    """
    capacity = store.CONTAINER_CAPACITY_M3_M3 if container_capacity is None else container_capacity
    with bench() as b, b.store.write() as tx:
        mix = store.add_mix(tx, name, parts_from_text(parts), capacity, dry_line, note)
    emit(mix, _print_mix, as_json=as_json)


@mix_app.command("change")
def mix_change(
    name: str = typer.Argument(..., help="The mix.", autocompletion=completion.mixes),
    parts: str = typer.Option("", "--parts", "-p", help="New parts by volume; all of them."),
    container_capacity: float | None = CAPACITY_OPTION,
    dry_line: float | None = DRY_LINE_OPTION,
    note: str | None = typer.Option(None, help="New note."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Change a mix; what is not given stays. Numbers for the past are computed anew with it.

    Example: `traywarden mix change "Seed mix" --dry-line 0.25`
    """
    if not parts and container_capacity is None and dry_line is None and note is None:
        raise UsageError("Say what is to change: --parts, --container-capacity, --dry-line or --note.")
    with bench() as b, b.store.write() as tx:
        mix = store.change_mix(
            tx,
            name,
            parts=parts_from_text(parts) if parts else None,
            container_capacity_m3_m3=container_capacity,
            dry_line_m3_m3=dry_line,
            note=note,
        )
        facts = journal_store.facts(tx)
        held = facts.mix_as_held(mix, None, b.now_ms)
    emit(held, _print_mix, as_json=as_json)
    if held != mix and container_capacity is not None and not as_json:
        say(
            f"A container capacity accepted since holds instead of {mix.container_capacity_m3_m3:g}; change "
            f'it: traywarden mix accept "{mix.name}" --value {mix.container_capacity_m3_m3:g}'
        )


@mix_app.command("list")
def mix_list(as_json: bool = JSON_OPTION) -> None:
    """List the mixes.

    Example: `traywarden mix list`
    """
    with bench() as b, b.store.read() as tx:
        facts = journal_store.facts(tx)
        mixes = [facts.mix_as_held(mix, None, b.now_ms) for mix in store.mixes(tx)]
    emit(mixes, _print_mixes, as_json=as_json)


def _print_mix(mix: Mix) -> None:
    say(
        f"Mix “{mix.name}” is {parts_words(mix.parts)}; it holds {mix.container_capacity_m3_m3:g} m³/m³ "
        f"after draining and is dry at {mix.dry_line_m3_m3:g} m³/m³."
    )


def _print_mixes(mixes: list[Mix]) -> None:
    if not mixes:
        say('There is no mix yet; add one with: traywarden mix add "Seed mix" --parts "perlite 2, coir 1"')
        return
    rows = [
        (
            mix.name,
            parts_words(mix.parts),
            f"{mix.container_capacity_m3_m3:g} m³/m³",
            f"{mix.dry_line_m3_m3:g} m³/m³",
            mix.note,
        )
        for mix in mixes
    ]
    print_table(("mix", "parts", "container capacity", "dry line", "note"), rows)
