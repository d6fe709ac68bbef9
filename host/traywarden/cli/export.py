"""`traywarden export`: everything of a garden as files for other programs."""

from dataclasses import dataclass
from pathlib import Path

import typer

from traywarden.cli.asking import FROM_OPTION, TO_OPTION, asking, days_of
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import print_table, say
from traywarden.services.download.package import Form, Span, Written, span_asked, to_folder, to_zip


def register(app: typer.Typer) -> None:
    app.command("export")(export)


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written where."""

    to: str
    span: Span
    files: tuple[Written, ...]


def export(
    to: Path = typer.Argument(help="A new folder, or a new file that ends in .zip."),
    start: str = FROM_OPTION,
    end: str = TO_OPTION,
    parquet: bool = typer.Option(False, "--parquet", help="Parquet files in the place of CSV."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Write readings, journal, names and daily summaries as CSV, with units and meanings in datapackage.json.

    Without --from and --to it is everything that was ever measured.

    Example: `traywarden export season.zip --from 2026-03-01`
    """
    with asking() as on:
        span = span_asked(on, *days_of(on, start, end))
        form = Form.PARQUET if parquet else Form.CSV
        write = to_zip if to.suffix.lower() == ".zip" else to_folder
        found = Exported(str(to), span, tuple(write(on, span, to, form)))
    emit(found, _words, as_json=as_json)


def _words(found: Exported) -> None:
    size, count = (sum(numbers) for numbers in zip(*((f.size, f.rows) for f in found.files), strict=True))
    say(
        f"{len(found.files)} files, {count:,} rows, {size / 1e6:,.1f} MB, "
        f"from {found.span.first} to {found.span.last}, are in {found.to}."
    )
    rows = [(file.path, f"{file.rows:,}", f"{file.size / 1e3:,.0f}") for file in found.files]
    print_table(("File", "Rows", "kB"), rows, right=("Rows", "kB"))
    say("What each column means and its unit stands in datapackage.json.")
