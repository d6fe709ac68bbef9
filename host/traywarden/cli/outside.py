"""`forecast` and `weather`: weather of the open air that others foretold or measured, read in from files."""

from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

import typer

from traywarden.cli import context
from traywarden.cli.asking import asking
from traywarden.cli.context import JSON_OPTION, Bench, emit
from traywarden.cli.imports import print_findings
from traywarden.cli.mapping_choice import (
    MAP_OPTION,
    OFFSET_OPTION,
    ORDER_OPTION,
    OUTSIDE_FILE,
    WRITE_OPTION,
    YES_OPTION,
    ZONE_OPTION,
    chosen_mapping,
    keep_mapping,
)
from traywarden.cli.tables import print_table, say
from traywarden.domain.clock_words import day_words
from traywarden.domain.units import Display, number
from traywarden.errors import UsageError
from traywarden.services.findings import Findings
from traywarden.services.moments import moment_words, parse_moment
from traywarden.services.outside_import import (
    ForecastImported,
    WeatherImported,
    import_forecast,
    import_weather,
)
from traywarden.services.questions.outside import (
    ForecastShown,
    SourceDays,
    ask_forecast,
    ask_weather,
)
from traywarden.store import garden as garden_store
from traywarden.store import outside as outside_store

PANEL = "Weather from outside"
forecast_app = typer.Typer(no_args_is_help=True, help="Forecasts: what the coming hours are said to bring.")
weather_app = typer.Typer(no_args_is_help=True, help="Past weather of the open air, for when to sow.")
FILE_ARGUMENT = typer.Argument(help="CSV, TSV or other delimited text, JSON, or an XLSX workbook.")
SOURCE_OPTION = typer.Option("", "--source", help="What you call the source; default from the file's name.")


def register(app: typer.Typer) -> None:
    app.add_typer(forecast_app, name="forecast", rich_help_panel=PANEL)
    app.add_typer(weather_app, name="weather", rich_help_panel=PANEL)


@forecast_app.command("import")
def forecast_import(
    file: Path = FILE_ARGUMENT,
    map_file: str = MAP_OPTION,
    source: str = SOURCE_OPTION,
    issued: str = typer.Option(
        "", "--issued", help="When it was issued; default when the file was last written."
    ),
    zone: str = ZONE_OPTION,
    offset: str = OFFSET_OPTION,
    date_order: str = ORDER_OPTION,
    yes: bool = YES_OPTION,
    write_map: str = WRITE_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Read in an hourly forecast of the open air. The same issue again replaces what was kept of it.

    Time and air temperature are needed; humidity, rain and wind are kept where they are there. It drives the
    outlook for the hours ahead of it; once they have passed it is history, and only tells how good it was.

    Example: `traywarden forecast import tomorrow.json --map forecast.toml --source "weather office"`
    """
    with context.bench() as b:
        clock = zone or b.garden.time_zone
        mapping = chosen_mapping(OUTSIDE_FILE, file, map_file, clock, offset, date_order, yes=yes)
        keep_mapping(OUTSIDE_FILE, mapping, write_map)
        result = import_forecast(
            b.store, file, mapping, _source(source, file), _issued_ms(b, file, issued), findings=Findings()
        )
        shown = b.zone
    emit(result, lambda answer: _print_forecast_import(answer, shown), as_json=as_json)


@forecast_app.command("show")
def forecast_show(as_json: bool = JSON_OPTION) -> None:
    """What the newest forecast says, day by day, and how long it still reaches.

    Example: `traywarden forecast show`
    """
    with asking() as on:
        answer = ask_forecast(on)
        display, zone = on.display, on.zone
    emit(answer, lambda a: _print_forecast(a, display, zone), as_json=as_json)


@weather_app.command("import")
def weather_import(
    file: Path = FILE_ARGUMENT,
    map_file: str = MAP_OPTION,
    source: str = SOURCE_OPTION,
    zone: str = ZONE_OPTION,
    offset: str = OFFSET_OPTION,
    date_order: str = ORDER_OPTION,
    yes: bool = YES_OPTION,
    write_map: str = WRITE_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Read in past weather near the garden, best many years of it.

    Each day's lowest and highest air temperature, or its hours, which are kept as days. From these years
    `plan` tells when your trays are likely to be warm enough.

    Example: `traywarden weather import station.csv --source "airfield" --yes`
    """
    with context.bench() as b:
        clock = zone or b.garden.time_zone
        mapping = chosen_mapping(OUTSIDE_FILE, file, map_file, clock, offset, date_order, yes=yes)
        keep_mapping(OUTSIDE_FILE, mapping, write_map)
        result = import_weather(b.store, file, mapping, _source(source, file), b.zone, findings=Findings())
    emit(result, _print_weather_import, as_json=as_json)


@weather_app.command("show")
def weather_show(as_json: bool = JSON_OPTION) -> None:
    """Which past weather there is: sources, years, and days that lack.

    Example: `traywarden weather show`
    """
    with asking() as on:
        answer = ask_weather(on)
        display = on.display
    emit(answer, lambda a: _print_weather(a, display), as_json=as_json)


@weather_app.command("forget")
def weather_forget(
    source: str = typer.Argument(help="The source, as `weather show` or `forecast show` name it."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Forget everything of one source, forecasts and past days.

    Example: `traywarden weather forget "airfield"`
    """
    with context.bench() as b, b.store.write() as tx:
        known = outside_store.sources(tx)
        if source not in known:
            there = ", ".join(f"“{name}”" for name in known) or "none"
            raise UsageError(f"There is no source called “{source}”; there is {there}.")
        hours, days = outside_store.forget(tx, source)
    emit(Forgotten(source, hours, days), _print_forgotten, as_json=as_json)


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What was taken out of a source."""

    source: str
    forecast_hours: int
    days: int


def _print_forgotten(found: Forgotten) -> None:
    say(f"Forgotten: {found.forecast_hours:,} forecast hours and {found.days:,} days of “{found.source}”.")


def _source(name: str, file: Path) -> str:
    return garden_store.clean_name("source", name or file.stem)


def _issued_ms(b: Bench, file: Path, issued: str) -> int:
    if issued:
        return parse_moment(issued, now_ms=b.now_ms, zone=b.zone).at_ms
    try:
        return min(round(file.stat().st_mtime * 1000), b.now_ms)
    except OSError:
        return b.now_ms  # reading it will say what is wrong


def _print_forecast_import(found: ForecastImported, zone: ZoneInfo) -> None:
    say(
        f"{found.file}: {found.hours:,} hours of “{found.source}”, issued "
        f"{moment_words(found.issued_ms, zone)}, up to {moment_words(found.end_ms, zone)}."
    )
    say(f"{found.hours_ahead:,} of them lay ahead when it was issued.")
    _print_remarks(found)


def _print_weather_import(found: WeatherImported) -> None:
    say(
        f"{found.file}: {found.days:,} days of “{found.source}”, {found.first} to {found.last}, made of "
        f"{found.made_of}; {found.days_new:,} are new.{found.counted_words}"
    )
    _print_remarks(found)


def _print_remarks(found: ForecastImported | WeatherImported) -> None:
    for note in found.notes:
        say(f"Guessed: {note}.")
    print_findings(found.counts, found.listed)


def _print_forecast(found: ForecastShown, display: Display, zone: tzinfo) -> None:
    issued = datetime.fromtimestamp(found.issued_ms / 1000, UTC).astimezone(zone)
    say(f"{found.sentence} Issued {issued:%a %d %b %H:%M} by “{found.source}”.")
    print_table(
        ("day", "hours", "lowest", "highest", "rain", "wind", ""),
        [
            (
                day_words(day.day, issued),
                f"{day.hours}",
                "–" if day.low_c is None else display.temp(day.low_c),
                "–" if day.high_c is None else display.temp(day.high_c),
                "" if day.rain_mm is None else display.depth(day.rain_mm),
                number(day.wind_m_s, 1, " m/s") if day.wind_m_s is not None else "",
                "passed" if day.passed else "",
            )
            for day in found.days
        ],
        right=("hours", "lowest", "highest", "rain", "wind"),
    )
    error = found.error
    if error.judged:
        say(
            f"{error.hours:,} forecast hours that have passed were measured in the open: they said "
            f"{display.temp_difference(error.bias_c)} on average, and missed by "
            f"{display.temp_difference(error.spread_c).lstrip('+')} (standard deviation)."
        )
    else:
        say(
            "How good it is cannot be told yet (too few of its hours have been measured in the open); "
            f"{display.temp_difference(error.spread_c).lstrip('+')} is assumed as its error."
        )


def _print_weather(found: list[SourceDays], display: Display) -> None:
    if not found:
        say("There is no past weather yet; read some in with: traywarden weather import FILE")
        return
    print_table(
        ("source", "from", "to", "days", "lacking", "whole years", "lowest", "highest"),
        [
            (
                source.source,
                f"{source.first}",
                f"{source.last}",
                f"{source.days:,}",
                f"{source.lacking:,}" if source.lacking else "",
                f"{source.whole_years}",
                display.temp(source.lowest_c),
                display.temp(source.highest_c),
            )
            for source in found
        ],
        right=("days", "lacking", "whole years", "lowest", "highest"),
    )
