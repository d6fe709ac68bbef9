"""`traywarden today`: what needs me, most urgent first, and why."""

from collections.abc import Sequence

import typer

from traywarden.cli.asking import PANEL, asking, moisture_bar, quoted, range_bar
from traywarden.cli.context import JSON_OPTION, console, emit
from traywarden.cli.tables import grouped, print_table, say
from traywarden.domain.clock_words import ago, clock
from traywarden.domain.moisture import NOT_CALIBRATED
from traywarden.domain.units import Display, span_words
from traywarden.services.questions.emergence_answer import LATE, ON_ITS_WAY
from traywarden.services.questions.emergence_now import DUE, EmergenceNow
from traywarden.services.questions.found import Found, Hushed
from traywarden.services.questions.today import Blind, Need, TodayAnswer, TrayNow, ask_today

WIDE = 90
STYLES = {"urgent": "bold red", "warning": "bold yellow"}
BAR_CELLS, NARROW_BAR_CELLS = 10, 6


def register(app: typer.Typer) -> None:
    app.command("today", rich_help_panel=PANEL)(today)


def today(as_json: bool = JSON_OPTION) -> None:
    """What needs me now, most urgent first: why, since when, and what to do.

    Below it what will be dry within a day, which trays cannot be judged and why, and every tray at a glance:
    moisture between dry line and container capacity, temperature within the crop's limits.

    Example: `traywarden today`
    """
    with asking() as on:
        answer, display = ask_today(on), on.display
    emit(answer, lambda a: _print(a, display), as_json=as_json)


def _print(answer: TodayAnswer, display: Display) -> None:
    say(f"{answer.garden}, {answer.at:%A} {answer.at.day} {answer.at:%B %Y, %H:%M}")
    for untold in answer.untold:
        number = "1 notice does" if untold.notices == 1 else f"{untold.notices} notices do"
        since = clock(untold.since, answer.at)
        console.print(
            f"\n{number} not get through over “{untold.channel}” since {since}: {untold.why}",
            style="bold red",
            markup=False,
            soft_wrap=True,
        )
        say(f"   → {untold.do[:1].upper()}{untold.do[1:]}; see: traywarden notices")
    trays = {tray.tray: tray for tray in answer.trays}
    judged = [tray for tray in answer.trays if "blind" not in tray.answers.values()]
    if not answer.needs and not answer.found:
        say("\nNothing needs you now." if judged else "\nNo tray can be judged now.")
    for n, need in enumerate(answer.needs, 1):
        _print_need(n, need, trays[need.tray], answer)
    for n, found in enumerate(answer.found, len(answer.needs) + 1):
        _print_found(n, found, answer)
    if answer.soon:
        say("\nWithin a day")
        for soon in answer.soon:
            say(f"  {soon.what} {_where(soon.tray, soon.place)} {soon.when}: {soon.why}.")
    _print_seed(answer.seed)
    _print_blind(answer.blind)
    if answer.quiet:
        say(f"\nAll is well: {', '.join(answer.quiet)}.")
    say("")
    seeds = {each.tray: each for each in answer.seed}
    cells = BAR_CELLS if console.width >= WIDE else NARROW_BAR_CELLS
    print_table(
        ("tray", "crop", "moisture", "", "soil", "", "last watered"),
        grouped(
            (tray.place or "in no place", _row(tray, seeds.get(tray.tray), display, cells))
            for tray in answer.trays
        ),
        right=("",),
    )
    on_its_way = any(seed.state == ON_ITS_WAY for seed in answer.seed)
    say(
        "Moisture: dry line to container capacity. Soil: the crop's range to come up in, until it is up."
        + (" Crop: % of the way to half up." if on_its_way else "")
    )
    guessed = [t.tray for t in answer.trays if t.moisture_m3_m3 is not None and not t.moisture_calibrated]
    if guessed:
        say(f"Moisture {NOT_CALIBRATED}: {', '.join(guessed)}.")


def _print_need(n: int, need: Need, tray: TrayNow, answer: TodayAnswer) -> None:
    style = STYLES.get(need.severity, "bold")
    turning = ", but it is turning" if need.easing else ""
    console.print(
        f"\n{n}. {need.what}{turning}: {_where(need.tray, need.place)}",
        style="bold" if need.easing else style,
        markup=False,
        soft_wrap=True,
    )
    at_least, before = ("at least ", "before ") if need.since_at_least else ("", "")
    since = f"{at_least}{span_words(need.for_s)}, since {before}{clock(need.since, answer.at)}"
    source = f" (source: {need.source})" if need.rule != "dry" and need.source else ""
    state = "So far" if need.easing else "On and off for" if need.on_and_off else "For"
    say(f"   {need.why[:1].upper()}{need.why[1:]}{source}. {state} {since}.")
    if need.rule == "dry":
        known = f" ({tray.watered_known_from})" if tray.watered_known_from else ""
        last = "not known" if tray.since_watered_s is None else ago(tray.since_watered_s) + known
        say(f"   Last watered: {last}.")
    if need.blind:
        say(f"   Not known any more: {need.blind}.")
    _print_hushed(need.hushed, answer)
    if need.do and not need.easing:
        say(f"   → {need.do}")


def _print_found(n: int, found: Found, answer: TodayAnswer) -> None:
    style = STYLES.get(found.severity, "bold")
    title = f"\n{n}. {found.what}: {_where(found.name, found.place)}"
    console.print(title, style="bold" if found.hushed else style, markup=False, soft_wrap=True)
    source = f" (source: {found.source})" if found.source else ""
    since = f"{span_words(found.for_s)}, since {clock(found.since, answer.at)}"
    say(f"   {found.why[:1].upper()}{found.why[1:]}{source}. For {since}.")
    _print_hushed(found.hushed, answer)
    if found.do:
        say(f"   → {found.do}")


def _print_hushed(hushed: Hushed | None, answer: TodayAnswer) -> None:
    if hushed:
        by = f"{hushed.who}{f': {hushed.why}' if hushed.why else ''}"
        say(f"   Hushed until {clock(hushed.until, answer.at)} by {by} (hush {hushed.hush}).")


def _print_seed(seeds: Sequence[EmergenceNow]) -> None:
    """Seed that is late, and seed of which the first should be up by now."""
    if any(seed.state in (LATE, DUE) for seed in seeds):
        say("\nSeed")
    for seed in seeds:
        where = _where(seed.tray, seed.place)
        if seed.state == LATE:
            say(f"  {where}: {seed.crop} is late. Why: traywarden emergence {quoted(seed.tray)}")
        elif seed.state == DUE:
            say(f"  {where}: the first seedlings of {seed.crop} may be up: look, and write it down.")


def _print_blind(blinds: Sequence[Blind]) -> None:
    if blinds:
        say("\nCannot be judged")
    rules: dict[tuple[str, str], list[str]] = {}
    for blind in blinds:
        rules.setdefault((_where(blind.tray, blind.place), blind.why), []).append(blind.rule)
    for (where, why), named in rules.items():
        say(f"  {where}, {' and '.join(named)}: {why}.")


def _where(tray: str, place: str | None) -> str:
    return f"{tray} ({place})" if place else tray


def _seed(tray: TrayNow, seed: EmergenceNow | None) -> str:
    """The crop and how far its seed has come."""
    if tray.emerged:
        return f"{tray.crop} up"
    if seed is None or seed.done is None:
        return tray.crop or ""
    if seed.state in (LATE, DUE):
        return f"{tray.crop} {seed.state}"
    return f"{tray.crop} {min(seed.done, 0.99) * 100:.0f} %"


def _row(tray: TrayNow, seed: EmergenceNow | None, display: Display, cells: int) -> tuple[str, ...]:
    low_c = None if tray.emerged else tray.crop_min_c  # the range is one to come up in
    high_c = tray.crop_max_c if tray.crop_max_c is not None else tray.crop_opt_high_c
    return (
        tray.tray,
        _seed(tray, seed),
        moisture_bar(tray.moisture_fraction, cells),
        "" if tray.moisture_pct is None else f"{tray.moisture_pct:.0f} %",
        range_bar(tray.soil_temp_c, low_c, high_c, cells),
        "" if tray.soil_temp_c is None else display.temp(tray.soil_temp_c),
        "" if tray.since_watered_s is None else ago(tray.since_watered_s),
    )
