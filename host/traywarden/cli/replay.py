"""`traywarden replay`: recorded readings through a broker, as a probe would send them."""

import ssl
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from traywarden.cli import context, imports, mapping_choice
from traywarden.errors import BrokerError, UsageError
from traywarden.services.feeds import Tally
from traywarden.services.findings import Findings
from traywarden.services.publishing import probe_publisher
from traywarden.services.replay import (
    Recording,
    ReplayResult,
    play,
    recording_from_file,
    recording_from_store,
)
from traywarden.services.running import running_host
from traywarden.settings import Settings

_FOREVER_MS = 2**53


def register(app: typer.Typer) -> None:
    app.command("replay")(replay)


def replay(
    file: Path | None = typer.Argument(None, help="A logger file, as for “traywarden import”."),
    from_store: bool = typer.Option(
        False, "--from-store", help="Play what the store holds of the probe named with --probe."
    ),
    map_file: str = mapping_choice.MAP_OPTION,
    zone: str = mapping_choice.ZONE_OPTION,
    offset: str = mapping_choice.OFFSET_OPTION,
    date_order: str = mapping_choice.ORDER_OPTION,
    yes: bool = mapping_choice.YES_OPTION,
    speed: float = typer.Option(
        0.0, "--speed", min=0.0, help="Times real time; 0 goes as fast as the host acknowledges."
    ),
    broker: str = typer.Option(
        "", "--broker", help="host:port; default is the running host's broker, else the settings'."
    ),
    probe: str = typer.Option("", "--probe", help="Probe to publish as, or with --from-store to read."),
    publish_as: str = typer.Option(
        "", "--as", help="With --from-store: probe to publish as; default is the probe's name and “-replay”."
    ),
    start: str = typer.Option("", "--from", help="First day or moment, in the garden's time zone."),
    end: str = typer.Option("", "--to", help="Moment to stop before; a day means its end."),
    shift_to_now: bool = typer.Option(
        False, "--shift-to-now", help="Move the readings in time, so that the last one is now."
    ),
    as_json: bool = context.JSON_OPTION,
) -> None:
    """Publish a recorded file, or a span of the store, through the broker as a probe would.

    Readings go out in numbered packs and are sent again until the host's receipt says that they are stored,
    so the command ends well only when all of them are. Playing the same recording again stores nothing twice.

    Example: `traywarden replay bondville.csv --map bondville.toml --from 1998-08-01 --to 1998-08-14`
    """
    if from_store == (file is not None):
        raise UsageError("Name a file to replay, or --from-store with --probe, and not both.")
    if from_store and not probe:
        raise UsageError("Say which probe to read from the store with --probe.")
    with context.bench() as bench:
        start_ms = _moment_ms(start, bench.zone, "--from")
        end_ms = _moment_ms(end, bench.zone, "--to", day_ends=True)
        if file is not None:
            name = imports.logger_name(probe, file)
            garden_zone = zone or bench.garden.time_zone
            mapping = mapping_choice.chosen_mapping(
                mapping_choice.LOGGER_FILE, file, map_file, garden_zone, offset, date_order, yes=yes
            )
            recording = recording_from_file(file, mapping, Findings(0), Tally()).between(start_ms, end_ms)
        else:
            name = imports.logger_name(publish_as or f"{probe}-replay", Path(probe))
            with bench.store.read() as tx:
                recording = recording_from_store(
                    tx,
                    probe,
                    -_FOREVER_MS if start_ms is None else start_ms,
                    _FOREVER_MS if end_ms is None else end_ms,
                )
        if shift_to_now:
            recording = recording.ending_at(bench.now_ms)
        result = _play(recording, bench.settings, broker, bench.garden.slug, name, speed, quiet=as_json)
    context.emit(result, _words, as_json=as_json)


def _play(
    recording: Recording,
    settings: Settings,
    broker: str,
    garden: str,
    probe: str,
    speed: float,
    *,
    quiet: bool,
) -> ReplayResult:
    host, port = _address(broker, settings)
    publisher = probe_publisher(
        host,
        port,
        garden,
        probe,
        client_id=f"{garden}-{probe}-replay",
        user=settings["broker.user"],
        password=settings["broker.password"].reveal(),
        tls=_tls(settings),
    )
    with publisher, _bar(f"Replaying as {probe}", len(recording.time_ms), quiet=quiet) as advance:
        publisher.connect()
        return play(
            recording,
            publisher,
            probe,
            speed=speed,
            clock_s=time.monotonic,
            sleep=time.sleep,
            progress=advance,
        )


def _address(broker: str, settings: Settings) -> tuple[str, int]:
    if broker:
        host, _, port = broker.rpartition(":")
        if not host or not port.isdecimal() or not 0 < int(port) < 65_536:
            raise UsageError(f"--broker is “{broker}”; write it like 127.0.0.1:1883.")
        return host.strip("[]"), int(port)
    running = running_host(settings.home)
    if running is not None:
        return running.broker_host, running.broker_port
    if settings["broker.builtin"]:
        raise BrokerError(
            f"No host runs for {settings.home}, and its built-in broker with it; start it with "
            "“traywarden run”, or name another broker with --broker host:port."
        )
    return settings["broker.host"], settings["broker.port"]


def _tls(settings: Settings) -> ssl.SSLContext | None:
    if not settings["broker.tls"]:
        return None
    try:
        return ssl.create_default_context(cafile=settings["broker.ca_file"] or None)
    except (OSError, ssl.SSLError) as error:
        raise BrokerError(
            f"broker.ca_file {settings['broker.ca_file']!r} cannot be used ({error}); correct that setting."
        ) from error


def _moment_ms(text: str, zone: ZoneInfo, option: str, *, day_ends: bool = False) -> int | None:
    """A date or date and time in the garden's zone; a recording may be older than any journal."""
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise UsageError(f"{option} is “{text}”; write it like 1998-08-01 or “1998-08-01 06:30”.") from error
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    if day_ends and len(text.strip()) == 10:
        moment = datetime.fromordinal(moment.toordinal() + 1).replace(tzinfo=zone)
    return round(moment.timestamp() * 1000)


@contextmanager
def _bar(title: str, total: int, *, quiet: bool) -> Iterator[Callable[[int], None] | None]:
    if quiet or not context.console.is_terminal:
        yield None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=context.console, transient=True) as bar:
        task = bar.add_task(title, total=total)
        yield lambda done: bar.update(task, completed=done)


def _words(result: ReplayResult) -> None:
    context.console.print(
        f"{result.instants:,} instants ({result.readings:,} readings) were published as {result.probe} in "
        f"{result.packs:,} packs over {result.seconds:.1f} s; the host has receipted all of them.",
        markup=False,
        soft_wrap=True,
    )
