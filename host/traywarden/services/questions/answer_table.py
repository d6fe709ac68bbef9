"""A table of an answer in the grower's words: the same rows on the screen of a terminal and on a page."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

SUPERSCRIPTS = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")


@dataclass(frozen=True, slots=True)
class AnswerTable:
    """`right` names columns of numbers. `remarks`, if any, are those of each row, one sequence for each."""

    headings: Sequence[str]
    rows: Sequence[Sequence[str]]
    right: Collection[str] = ()
    remarks: Sequence[Sequence[str]] = ()

    @property
    def notes(self) -> tuple[tuple[str, str], ...]:
        """Each remark once, however many rows it is about, with the mark that stands in them."""
        each = dict.fromkeys(remark for row in self.remarks for remark in row if remark)
        return tuple((mark(n), text) for n, text in enumerate(each, 1))

    @property
    def marked(self) -> tuple[tuple[str, ...], ...]:
        """The rows, each with the marks of its remarks as one more cell."""
        marks = {text: sign for sign, text in self.notes}
        remarks = self.remarks or [()] * len(self.rows)
        return tuple(
            (*row, "".join(dict.fromkeys(marks[text] for text in mine if text)))
            for row, mine in zip(self.rows, remarks, strict=True)
        )

    @property
    def shown(self) -> tuple[int, ...]:
        """The columns in which anything stands, the one of the marks last."""
        rows = self.marked
        return tuple(n for n in range(len(self.headings) + 1) if any(row[n] for row in rows))


def mark(number: int) -> str:
    """The sign of a remark: ¹, ², …"""
    return f"{number}".translate(SUPERSCRIPTS)


def sentence(words: str) -> str:
    """With a capital at its beginning and a full stop at its end.

    >>> sentence("all of it from 2026"), sentence("")
    ('All of it from 2026.', '')
    """
    whole = words[:1].upper() + words[1:]
    return whole if not whole or whole[-1] in ".?!" else f"{whole}."
