"""Tables and sentences on screen; names are printed as given, never read as markup."""

from collections.abc import Iterable, Sequence

from rich.table import Table
from rich.text import Text

from traywarden.cli.context import console


def say(text: str) -> None:
    """One sentence, unwrapped, so that it can be searched and copied."""
    console.print(text, markup=False, soft_wrap=True)


def print_table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """A table without lines; columns that are empty throughout are left out."""
    filled = [list(row) for row in rows]
    shown = [i for i, heading in enumerate(headings) if not heading or any(row[i] for row in filled)]
    table = Table(box=None, pad_edge=False)
    for i in shown:
        table.add_column(Text(headings[i]), overflow="fold")
    for row in filled:
        table.add_row(*(Text(row[i]) for i in shown))
    console.print(table)
