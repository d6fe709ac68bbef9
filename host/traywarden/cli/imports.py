"""`traywarden import`: logger files and spreadsheets into the store."""

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

import typer
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

from traywarden.cli import context
from traywarden.errors import UsageError
from traywarden.services.feeds import Tally
from traywarden.services.findings import Findings, Sink, report_to
from traywarden.services.guess import guess
from traywarden.services.importing import ImportResult, import_file
from traywarden.services.mapping import Mapping, load_mapping, mapping_toml
from traywarden.services.probe_cards import probe_cards
from traywarden.services.stamps import offset_s_from
from traywarden.store import garden as garden_store
from traywarden.wire import topics

MAP_OPTION = typer.Option("", "--map", help="Mapping file (TOML); without it one is guessed and shown.")
ZONE_OPTION = typer.Option(
    "", "--zone", help="Time zone of the logger's wall clock; default is the garden's."
)
OFFSET_OPTION = typer.Option(
    "", "--offset", help="Fixed offset of the logger's clock, all year, such as “-06:00”."
)
ORDER_OPTION = typer.Option(
    "", "--date-order", help="dmy or mdy, where no date in the file tells day from month."
)
YES_OPTION = typer.Option(False, "--yes", "-y", help="Take the guessed mapping without asking.")


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
    write_map: str = typer.Option("", "--write-map", help="Save the mapping that is used to this file."),
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
        mapping = chosen_mapping(
            file, map_file, zone or (garden.time_zone if garden else ""), offset, date_order, yes=yes
        )
        if write_map:
            _write(Path(write_map), mapping_toml(mapping))
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
        with store.read() as tx:
            cards = probe_cards(tx, context.now_ms()) if garden else []
        waiting = [
            head.place_with for card in cards if card.probe == name for head in card.heads if head.waiting
        ]
    shown: tzinfo = ZoneInfo(garden.time_zone) if garden else UTC
    context.emit(result, lambda answer: _words(answer, shown, report, waiting), as_json=as_json)


def logger_name(logger: str, file: Path) -> str:
    """The name for readings from a file: as given, or made from the file's."""
    name = logger or garden_store.slug_from_name(file.stem)
    if topics.NAME_RE.fullmatch(name) is None:
        raise UsageError(
            f"“{name[:80]}” cannot be a logger's name; use 1 to 63 of a–z, 0–9, “-” and “_”, "
            "beginning with a letter or digit (--logger)."
        )
    return name


def chosen_mapping(
    file: Path, map_file: str, zone: str, offset: str, date_order: str, *, yes: bool
) -> Mapping:
    """The mapping from --map, or one guessed and confirmed. Raises UsageError when nobody confirms it."""
    if map_file:
        return load_mapping(Path(map_file))
    if offset and offset_s_from(offset) is None:
        raise UsageError(f"--offset is “{offset}”; write it like “-06:00”.")
    if zone and not _is_zone(zone):
        raise UsageError(f"--zone is “{zone}”, which is no known zone; write it like “Europe/Lisbon”.")
    if date_order not in ("", "dmy", "mdy"):
        raise UsageError(f"--date-order is “{date_order}”; write dmy or mdy.")
    terminal = sys.stdin.isatty() and sys.stdout.isatty()
    guessed = guess(file, zone=zone, offset=offset, date_order=date_order)
    while guessed.doubts and terminal:
        doubt = guessed.doubts[0]
        if doubt.key == "date_order":
            choices = ", ".join(f"{key} = {says}" for key, says in doubt.answers.items())
            date_order = _asked(f"{doubt.question} {choices}", lambda text: text in ("dmy", "mdy"))
        else:
            answer = _asked(
                f"{doubt.question} A zone such as Europe/Lisbon, or an offset such as -06:00",
                lambda text: _is_zone(text) or offset_s_from(text) is not None,
            )
            zone, offset = ("", answer) if offset_s_from(answer) is not None else (answer, "")
        guessed = guess(file, zone=zone, offset=offset, date_order=date_order)
    if guessed.doubts:
        doubt = guessed.doubts[0]
        how = "--date-order dmy or mdy" if doubt.key == "date_order" else "--zone or --offset"
        raise UsageError(f"{doubt.question} Say it with {how}, or give a mapping with --map.")
    if yes:
        return guessed.mapping
    typer.echo(mapping_toml(guessed.mapping))
    if not terminal:
        raise UsageError(
            "Nothing was imported: this is only the mapping guessed for the file; take it with --yes, or "
            "save it (> log.toml), correct it there and give it with --map log.toml."
        )
    if not typer.confirm("Import with this mapping?", default=True):
        raise UsageError(
            "Nothing was imported. To correct the mapping, save it by adding “> log.toml” to the command, "
            "and give it with --map log.toml."
        )
    return guessed.mapping


def _asked(question: str, fits: Callable[[str], bool]) -> str:
    while True:
        answer: str = typer.prompt(question).strip()
        if fits(answer):
            return answer


def _is_zone(text: str) -> bool:
    try:
        ZoneInfo(text)
    except (KeyError, ValueError, OSError):
        return False
    return True


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise UsageError(f"{path} cannot be written ({error.strerror}); name another file.") from error


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
    console = context.console
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
    for kind, count in result.counts.items():
        listed = [finding for finding in result.listed if finding.kind == kind]
        console.print(f"{count:,} × {kind}", style="bold", markup=False, soft_wrap=True)
        for finding in listed:
            where = f"line {finding.line}" + (f", “{finding.column}”" if finding.column else "")
            _say(f"  {where}: {finding.text!r}: {finding.outcome}")
        if count > len(listed):
            _say(
                f"  … and {count - len(listed):,} more" + ("" if report else "; --report FILE lists them all")
            )
    if report:
        _say(f"Every finding is in {report}.")
    if waiting and result.first_ms is not None:
        # Without --at a head is placed from now on, and none of what was just imported would count.
        since = datetime.fromtimestamp(result.first_ms / 1000, zone).strftime("%Y-%m-%d %H:%M")
        _say("\nWaiting for their place (a tray must have stood there then: tray add or moved, with --at):")
        for command in waiting:
            _say(f'  {command} --at "{since}"')


def _say(sentence: str) -> None:
    context.console.print(sentence, markup=False, soft_wrap=True)


def _moment(at_ms: int, zone: tzinfo) -> str:
    return datetime.fromtimestamp(at_ms / 1000, zone).strftime("%Y-%m-%d %H:%M %Z")
