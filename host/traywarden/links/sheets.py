"""Logger files, JSON and spreadsheets, whatever their kind: what they look like, and their rows."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from traywarden.links.chunks import Shape, Sheet
from traywarden.links.delimited import DelimitedSheet, look
from traywarden.links.json_sheet import JsonSheet, is_json
from traywarden.links.workbook import WorkbookSheet, is_workbook

__all__ = ["Look", "Shape", "Sheet", "first_look", "open_sheet"]


@dataclass(frozen=True, slots=True)
class Look:
    """A first look at a file: for text its likely encoding and beginning; workbook and JSON have neither."""

    workbook: bool
    encoding: str = "utf-8"
    text: str = ""


def first_look(path: Path) -> Look:
    """Look into a file. Raises ImportFileError when it is missing, empty or of no known kind."""
    if is_workbook(path) or is_json(path):
        return Look(workbook=True)
    encoding, text = look(path)
    return Look(workbook=False, encoding=encoding, text=text)


@contextmanager
def open_sheet(path: Path, shape: Shape) -> Iterator[Sheet]:
    """The file's rows, by its kind (content, not name). Raises ImportFileError."""
    sheet: Sheet
    if is_workbook(path):
        sheet = WorkbookSheet(path, shape)
    elif is_json(path):
        sheet = JsonSheet(path, shape)
    else:
        look(path)
        sheet = DelimitedSheet(path, shape)
    try:
        yield sheet
    finally:
        sheet.close()
