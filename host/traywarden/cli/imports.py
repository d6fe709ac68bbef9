"""`traywarden import`: logger files and spreadsheets into the store."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

import typer
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

from traywarden.cli import context
from traywarden.cli.bars import counting_bar
from traywarden.cli.mapping_choice import (
    LOGGER_FILE,
    MAP_OPTION,
    OFFSET_OPTION,
    ORDER_OPTION,
    WRITE_OPTION,
    YES_OPTION,
    ZONE_OPTION,
    chosen_mapping,
    keep_mapping,
)
from traywarden.errors import StoreError, UsageError
from traywarden.services.feeds import Tally
from traywarden.services.findings import Finding, Findings, Sink, report_to
from traywarden.services.importing import ImportResult, import_file
from traywarden.services.probe_cards import probe_cards
from traywarden.services.upkeep import pack_days
from traywarden.store import garden as garden_store
from traywarden.wire import topics


def register(app: typer.Typer) -> None:
    app.command("import")(import_command)


def import_command(
    file: Path = typer.Argument(help="CSV, TSV or other delimited text, or an XLSX workbook."),
    map_file: str = MAP_OPTION,
    logger: str = typer.Option(
        "", "--logger", help="Name the readings get, like a probe's; default from the file's name."
    ),
    zone: str = ZONE_OPTION,
    offset: str = OFFSET_OPTION,
    date_order: str = ORDER_OPTION,
    yes: bool = YES_OPTION,
    write_map: str = WRITE_OPTION,
    show: int = typer.Option(5, "--show", min=0, help="How many findings of each kind to list."),
    report: str = typer.Option("", "--report", help="Write every finding, with its line, to this CSV file."),
    as_json: bool = context.JSON_OPTION,
) -> None:
    """Import a logger file or spreadsheet. Again, it adds nothing; one that has grown adds its new rows.

    Without --map the mapping is guessed from header, units and cells, and shown for you to confirm. What
    cannot be taken as it stands (unreadable cells, double stamps, hours that clocks skip or repeat) is
    counted and listed by line.

    Example: `traywarden import cold-frame.csv --logger cold-frame --offset +01:00 --write-map frame.toml`
    """
    name = logger_name(logger, file)
    with context.opened_store() as (store, settings):
        with store.read() as tx:
            garden = garden_store.the_garden(tx)
        shown = garden.time_zone if garden else ""
        mapping = chosen_mapping(LOGGER_FILE, file, map_file, zone or shown, offset, date_order, yes=yes)
        keep_mapping(LOGGER_FILE, mapping, write_map)
        with _report(report) as sink, progress_bar(f"Importing {file.name}", quiet=as_json) as advance:
            result = import_file(
                store,
                file,
                mapping,
                name,
                received_ms=context.now_ms(),
                batch_rows=settings["store.batch_rows"],
                findings=Findings(show, sink),
                progress=advance,
            )
        # Where the store is busy the host packs them later.
        with suppress(StoreError), counting_bar("Packing days", quiet=as_json) as advance_days:
            pack_days(store, settings, context.now_ms(), advance_days)
        with store.read() as tx:
            cards = probe_cards(tx, context.now_ms()) if garden else []
        waiting = [
            head.place_with for card in cards if card.probe == name for head in card.heads if head.waiting
        ]
    clock: tzinfo = ZoneInfo(shown) if shown else UTC
    context.emit(result, lambda answer: _words(answer, clock, report, waiting), as_json=as_json)


def logger_name(logger: str, file: Path) -> str:
    """The name for readings from a file: as given, or made from the file's."""
    name = logger or garden_store.slug_from_name(file.stem)
    if topics.NAME_RE.fullmatch(name) is None:
        raise UsageError(
            f"“{name[:80]}” cannot be a logger's name; use 1 to 63 of a–z, 0–9, “-” and “_”, "
            "beginning with a letter or digit (--logger)."
        )
    return name


@contextmanager
def _report(path: str) -> Iterator[Sink | None]:
    if not path:
        yield None
        return
    try:
        with Path(path).open("w", encoding="utf-8", newline="") as file:
            yield report_to(file)
    except OSError as error:
        raise UsageError(f"{path} cannot be written ({error.strerror}); name another file.") from error


@contextmanager
def progress_bar(title: str, *, quiet: bool) -> Iterator[Callable[[Tally], None] | None]:
    """A bar that follows a Tally through its file; None where there is no terminal to draw it on."""
    if quiet or not context.console.is_terminal:
        yield None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    with Progress(
        *columns, TextColumn("{task.fields[rows]}"), console=context.console, transient=True
    ) as bar:
        task = bar.add_task(title, total=None, rows="")

        def advance(tally: Tally) -> None:
            # A workbook is packed: how far into its bytes a row stands is not known.
            total = tally.total_bytes if tally.bytes_done else None
            bar.update(task, total=total, completed=tally.bytes_done, rows=f"{tally.rows:,} rows")

        yield advance


def _words(result: ImportResult, zone: tzinfo, report: str, waiting: Sequence[str]) -> None:
    _say(f"{result.file}: {result.rows:,} rows, as logger “{result.logger}”.")
    _say(f"{result.readings_new:,} readings are new; {result.readings_known:,} were stored already.")
    if result.first_ms is not None and result.last_ms is not None:
        first, last = (_moment(at_ms, zone) for at_ms in (result.first_ms, result.last_ms))
        _say(f"They run from {first} to {last}.")
    if result.rows_elsewhere:
        _say(f"{result.rows_elsewhere:,} rows are not wanted by the mapping's where.")
    if result.rows_blank:
        _say(f"{result.rows_blank:,} rows hold no value in the mapped columns.")
    for note in result.notes:
        _say(f"{note}." if note.startswith("Not taken") else f"Guessed: {note}.")
    print_findings(result.counts, result.listed, lists_all=bool(report))
    if report:
        _say(f"Every finding is in {report}.")
    if waiting and result.first_ms is not None:
        # Without --at a head is placed from now on, and none of what was just imported would count.
        since = datetime.fromtimestamp(result.first_ms / 1000, zone).strftime("%Y-%m-%d %H:%M")
        _say("\nWaiting for their place (a tray must have stood there then: tray add or moved, with --at):")
        for command in waiting:
            _say(f'  {command} --at "{since}"')


def print_findings(counts: Mapping[str, int], listed: Sequence[Finding], *, lists_all: bool = True) -> None:
    """What could not be taken as it stands: how often, and the first of each kind by line."""
    for kind, count in counts.items():
        shown = [finding for finding in listed if finding.kind == kind]
        context.console.print(f"{count:,} × {kind}", style="bold", markup=False, soft_wrap=True)
        for finding in shown:
            where = f"line {finding.line}" + (f", “{finding.column}”" if finding.column else "")
            _say(f"  {where}: {finding.text!r}: {finding.outcome}")
        if count > len(shown):
            more = f"  … and {count - len(shown):,} more"
            _say(more if lists_all else f"{more}; --report FILE lists them all")


def _say(sentence: str) -> None:
    context.console.print(sentence, markup=False, soft_wrap=True)


def _moment(at_ms: int, zone: tzinfo) -> str:
    return datetime.fromtimestamp(at_ms / 1000, zone).strftime("%Y-%m-%d %H:%M %Z")
