"""The week and the data package by command: words, JSON, files, one sentence where it cannot be done."""

import json
import shutil
import zipfile
from pathlib import Path

import pytest

from tests.cli.conftest import CommandLine


def test_week_says_what_it_brought_tray_by_tray(little: CommandLine) -> None:
    out, found = little.ok("week"), little.json("week")
    assert out.startswith(found["sentence"])
    for tray in found["trays"]:
        (row,) = (line for line in out.splitlines() if line.startswith(f"{tray['tray']} "))
        assert f"{tray['by_hand']} ×" in row
        assert f"{tray['driest_pct']:.0f} %" in row
    assert found["comparisons"][0]["sentence"] in out
    assert found["last_day"] == "2026-03-16"


def test_week_of_an_earlier_day_is_written_as_one_file(little: CommandLine, tmp_path: Path) -> None:
    file = tmp_path / "week.html"
    found = little.json("week", str(file), "--ending", "2026-03-12")
    text = file.read_text(encoding="utf-8")
    assert found["last_day"] == "2026-03-12"
    assert found["sentence"] in text
    assert "data:image/svg+xml;base64," in text


def test_week_refuses_what_it_cannot_do(
    little: CommandLine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "end “week.doc” in .html" in little.refused("week", str(tmp_path / "week.doc"))
    assert "Give the file to print too" in little.refused("week", "--pdf")
    assert "is not over" in little.refused("week", "--ending", "2026-04-01")
    assert "another folder" in little.refused("week", str(tmp_path / "nowhere" / "week.html"))
    monkeypatch.setattr(shutil, "which", lambda name: None)
    assert "Chromium" in little.refused("week", str(tmp_path / "week.html"), "--pdf")
    assert not (tmp_path / "week.html").exists(), "nothing is begun that cannot be ended"


def test_export_writes_a_folder_or_a_zip_file(little: CommandLine, tmp_path: Path) -> None:
    folder, packed = tmp_path / "season", tmp_path / "season.zip"
    out = little.ok("export", str(folder))
    found = little.json("export", str(packed))
    assert f"{len(found['files'])} files, {sum(f['rows'] for f in found['files']):,} rows" in out
    with zipfile.ZipFile(packed) as archive:
        assert sorted(archive.namelist()) == sorted(f["path"] for f in found["files"])
        for file in found["files"]:
            assert (folder / file["path"]).stat().st_size == file["size"] == len(archive.read(file["path"]))
    described = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    assert {r["path"]: r["rows"] for r in described["resources"]} == {
        f["path"]: f["rows"] for f in found["files"] if f["path"] != "datapackage.json"
    }


def test_export_of_a_span_has_its_days_alone(little: CommandLine, tmp_path: Path) -> None:
    found = little.json("export", str(tmp_path / "p.zip"), "--from", "2026-03-04", "--to", "2026-03-05")
    rows = {file["path"]: file["rows"] for file in found["files"]}
    assert all(count == 2 * 144 for path, count in rows.items() if path.startswith("readings/"))
    assert found["span"] == {"first": "2026-03-04", "last": "2026-03-05"}


def test_export_writes_over_nothing(little: CommandLine, tmp_path: Path) -> None:
    (tmp_path / "mine.zip").write_text("mine")
    assert "already" in little.refused("export", str(tmp_path / "mine.zip"))
    assert "already" in little.refused("export", str(tmp_path))
    assert (tmp_path / "mine.zip").read_text() == "mine"
    assert not list(tmp_path.glob("*.part"))
