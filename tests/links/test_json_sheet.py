"""Tables in JSON files, whatever way they are written."""

import json
from pathlib import Path
from typing import Any

import pytest

from traywarden.errors import ImportFileError
from traywarden.links import json_sheet
from traywarden.links.sheets import Shape, first_look, open_sheet

HOURS = {"time": ["2026-05-01T00:00", "2026-05-01T01:00"], "temp": [10.5, None]}
ROWS = [{"time": "2026-05-01T00:00", "temp": 10.5}, {"time": "2026-05-01T01:00", "temp": None}]


def written(folder: Path, tree: Any) -> Path:
    path = folder / "forecast.json"
    path.write_text(json.dumps(tree), encoding="utf-8")
    return path


def cells(path: Path, sheet: str = "") -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    with open_sheet(path, Shape(sheet=sheet)) as opened:
        rows = [row for chunk in opened.chunks(1) for row in zip(*chunk.columns, strict=True)]
        return opened.header, rows


@pytest.mark.parametrize(
    "tree",
    [
        ROWS,
        HOURS,
        {"latitude": 1.0, "hourly": HOURS},
        {"meta": {"list": [1, 2, 3]}, "hourly": HOURS},
        {"properties": {"timeseries": ROWS}},
    ],
)
def test_a_table_is_found_wherever_it_lies(tmp_path: Path, tree: Any) -> None:
    header, rows = cells(written(tmp_path, tree))
    assert header == ("time", "temp")
    assert rows == [("2026-05-01T00:00", "10.5"), ("2026-05-01T01:00", "")]


def test_the_mapping_can_say_which_of_several(tmp_path: Path) -> None:
    path = written(tmp_path, {"daily": {"time": ["2026-05-01"], "low": [4]}, "hourly": HOURS})
    assert cells(path)[0] == ("time", "low")
    assert cells(path, "hourly")[0] == ("time", "temp")
    with pytest.raises(ImportFileError, match=r"has no “weekly”.*“daily”, “hourly”"):
        cells(path, "weekly")


def test_objects_within_rows_are_laid_flat(tmp_path: Path) -> None:
    rows = [{"time": "t", "data": {"instant": {"air": 7}, "list": [1]}}]
    assert cells(written(tmp_path, rows)) == (("time", "data.instant.air"), [("t", "7")])


def test_what_holds_no_table_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ImportFileError, match="holds no table"):
        cells(written(tmp_path, {"a": 1, "b": [1, 2]}))


def test_a_text_file_that_begins_with_a_bracket_is_text(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("[Logger 7]\ntime,temp\n2026-05-01 00:00,10\n", encoding="utf-8")
    assert not first_look(path).workbook


def test_a_huge_file_is_refused_before_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(json_sheet, "MOST_BYTES", 10)
    with pytest.raises(ImportFileError, match="larger than"):
        cells(written(tmp_path, ROWS))
