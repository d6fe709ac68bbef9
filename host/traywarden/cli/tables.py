"""Tables and sentences on screen; names are printed as given, never read as markup."""

import textwrap
from collections.abc import Collection, Iterable, Sequence

from rich.cells import cell_len
from rich.table import Table
from rich.text import Text

from traywarden.cli.context import console
from traywarden.services.questions.answer_table import AnswerTable, mark, sentence

GAP = 2
HEADING = 8
"""Headings up to this long stay on one line."""
WHOLE = 20
"""Cells up to this long stay on one line where the terminal has room for them."""


def say(text: str) -> None:
    """Sentences. Unwrapped, so that they can be searched and copied; a terminal gets them wrapped at words,
    save those with a command in them."""
    if console.is_terminal and "traywarden " not in text:
        text = "\n".join(_wrapped(line) for line in text.split("\n"))
    console.print(text, markup=False, soft_wrap=True)


def print_table(
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    right: Collection[str] = (),
    spare: Sequence[str] = (),
) -> None:
    """A table without lines; columns that are empty throughout are left out.

    Words are never cut while the terminal has room for them. Columns named in `right` stand right; those in
    `spare` are left out one after the other while short cells would have to be broken.
    """
    filled = [list(row) for row in rows]
    shown = [i for i, heading in enumerate(headings) if any(row[i] for row in filled)]
    cells = [[headings[i], *(row[i] for row in filled)] for i in shown]
    for name in spare:
        least = sum(_least(*column, whole=WHOLE) + GAP for column in cells) - GAP
        if least <= console.width:
            break
        kept = [k for k, i in enumerate(shown) if headings[i] != name]
        shown, cells = [shown[k] for k in kept], [cells[k] for k in kept]
    natural = [_natural(*column) for column in cells]
    # Long cells give way first, then short ones, both between words; only then are words cut.
    floors = [[_least(*column, whole=whole) for column in cells] for whole in (WHOLE, 0)]
    table = Table(box=None, pad_edge=False, padding=(0, GAP, 0, 0))
    for i, width in zip(shown, columns_that_fit(natural, floors, console.width), strict=True):
        table.add_column(
            Text(headings[i]),
            overflow="fold",
            width=width,
            justify="right" if headings[i] in right else "left",
        )
    for row in filled:
        table.add_row(*(Text(row[i]) for i in shown))
    console.print(table)


def print_answer(table: AnswerTable) -> None:
    """The table and below it its remarks."""
    print_rows(table)
    say_notes(table)


def print_rows(table: AnswerTable) -> None:
    print_table((*table.headings, ""), table.marked, table.right)


def say_notes(table: AnswerTable) -> None:
    for sign, text in table.notes:
        say(f"{sign} {sentence(text)}")


def columns_that_fit(natural: Sequence[int], floors: Iterable[Sequence[int]], room: int) -> list[int]:
    """Widths of columns: the widest gives way first, none below a floor while another is still above its own.

    The floors are tried in turn; when even the last leaves too little room, columns go below it.
    """
    widths = list(natural)
    for floor in (*floors, [1] * len(widths)):
        while sum(widths) + GAP * (len(widths) - 1) > room:
            able = [i for i, width in enumerate(widths) if width > floor[i]]
            if not able:
                break
            widths[max(able, key=lambda i: widths[i])] -= 1
    return widths


def grouped(rows: Iterable[tuple[str, Sequence[str]]]) -> list[Sequence[str]]:
    """Rows under the group each belongs to, groups in the order in which they first appear."""
    groups: dict[str, list[Sequence[str]]] = {}
    for group, row in rows:
        groups.setdefault(group, []).append((f"  {row[0]}", *row[1:]))
    return [row for group, mine in groups.items() for row in [(group, *[""] * (len(mine[0]) - 1)), *mine]]


class Notes:
    """Remarks below a table: each is said once, however many rows it is about."""

    def __init__(self) -> None:
        self._marks: dict[str, str] = {}

    def mark(self, text: str) -> str:
        """The sign that stands in the row; empty for no remark."""
        if not text:
            return ""
        return self._marks.setdefault(text, mark(len(self._marks) + 1))

    def say(self) -> None:
        for text, sign in self._marks.items():
            say(f"{sign} {text[:1].upper()}{text[1:]}.")


def _natural(heading: str, *cells: str) -> int:
    """What the cells take on one line; a long heading is rather wrapped than widens its column."""
    return max(_longest_word(heading), min(cell_len(heading), HEADING), *map(cell_len, cells))


def _least(heading: str, *cells: str, whole: int) -> int:
    """What the longest word takes, and every cell that is no longer than `whole`."""
    return max(
        _longest_word(heading),
        *(cell_len(cell) if cell_len(cell) <= whole else _longest_word(cell) for cell in cells),
    )


def _longest_word(text: str) -> int:
    return max((cell_len(word) for word in text.split()), default=0)


def _wrapped(line: str) -> str:
    indent = line[: len(line) - len(line.lstrip())]
    return "\n".join(
        textwrap.wrap(
            line,
            console.width,
            subsequent_indent=indent,
            break_long_words=False,
            break_on_hyphens=False,
        )
        or [""]
    )
