"""The same package as Parquet: read by another library it holds what the CSV files hold, typed and told."""

import hashlib
import json
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest

from tests.services.download.test_package import CASTS, _ground, _rows
from tests.services.little_garden import NOW_MS, LittleGarden, little_garden
from traywarden.domain.journal import Kind
from traywarden.errors import StoreError
from traywarden.services.download import tables
from traywarden.services.download.package import DESCRIPTION, Form, parts, span_asked, to_folder, to_zip
from traywarden.services.download.parquet import as_parquet
from traywarden.store import garden, journal


@pytest.fixture
def little(tmp_path: Path) -> Iterator[LittleGarden]:
    made = little_garden(tmp_path)
    with made.store.write() as tx:
        garden.add_lot(tx, "=Roma", "tomato", 0.8, True)
        journal.write(tx, Kind.NOTED, NOW_MS, NOW_MS, tray_id=made.tray_ids["lettuce"], note="+1 “🐌”\n<b>")
    yield made
    made.store.close()


@pytest.fixture
def both(little: LittleGarden, tmp_path: Path) -> dict[Form, Path]:
    made = {}
    with little.store.read() as tx:
        on = _ground(tx, tmp_path)
        span = span_asked(on, date(2026, 3, 10), None)
        for form in Form:
            made[form] = tmp_path / form
            to_folder(on, span, made[form], form)
    return made


def _described(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / DESCRIPTION).read_text(encoding="utf-8"))
    return found


def _cell(kind: str, text: str) -> object:
    """A cell of CSV as what it means: empty is not known, an apostrophe before a sign is no part of it."""
    if not text:
        return None
    if kind == "string" and text[:2] in ("'=", "'+", "'-", "'@"):
        return text[1:]
    if kind == "object":
        return text
    value = CASTS[kind](text)
    return value.replace(tzinfo=UTC) if kind == "datetime" and isinstance(value, datetime) else value


def test_every_file_holds_what_its_csv_holds(both: dict[Form, Path]) -> None:
    csv, parquet = (_described(both[form]) for form in Form)
    assert [r["rows"] for r in csv["resources"]] == [r["rows"] for r in parquet["resources"]]
    assert any(r["rows"] > 500 for r in parquet["resources"])
    for said, told in zip(csv["resources"], parquet["resources"], strict=True):
        kinds = {field["name"]: field["type"] for field in said["schema"]["fields"]}
        wanted = [
            {name: _cell(kinds[name], text) for name, text in row.items()}
            for row in _rows(both[Form.CSV], said["path"])
        ]
        found = pq.read_table(both[Form.PARQUET] / told["path"]).to_pylist()
        for row in found:
            for name, value in row.items():
                row[name] = value or None if kinds[name] == "string" else value
        assert found == wanted, told["path"]


def test_columns_carry_their_type_unit_and_meaning(both: dict[Form, Path]) -> None:
    folder = both[Form.PARQUET]
    told = next(r for r in _described(folder)["resources"] if r["path"].startswith("readings/"))
    assert (told["format"], told["mediatype"]) == ("parquet", "application/vnd.apache.parquet")
    assert "dialect" not in told
    schema = pq.read_schema(folder / told["path"])
    assert str(schema.field("time").type) == "timestamp[ms, tz=UTC]"
    assert str(schema.field("sequence").type) == "int64"
    for column in tables.READING:
        metadata = schema.field(column.name).metadata
        assert metadata[b"description"].decode() == column.means
        assert metadata.get(b"unit", b"").decode() == column.unit
    content = (folder / told["path"]).read_bytes()
    assert told["hash"] == f"sha256:{hashlib.sha256(content).hexdigest()}"
    assert told["bytes"] == len(content)


def test_a_zip_holds_the_same_and_is_smaller_than_csv(little: LittleGarden, tmp_path: Path) -> None:
    with little.store.read() as tx:
        on = _ground(tx, tmp_path)
        span = span_asked(on, None, None)
        sizes = {form: sum(f.size for f in to_zip(on, span, tmp_path / f"{form}.zip", form)) for form in Form}
        paths = {path for path, _, _ in parts(on, span, Form.PARQUET)}
    assert all(path.endswith(".parquet") for path in paths - {DESCRIPTION})
    assert sizes[Form.PARQUET] < sizes[Form.CSV] / 2


def test_what_goes_wrong_with_the_rows_is_told_as_it_is() -> None:
    def rows() -> Iterator[tuple[object, ...]]:
        yield ("Garden", "Europe/Lisbon", None, 9.0)
        raise StoreError("The store is gone.")

    with pytest.raises(StoreError, match="The store is gone"):
        list(as_parquet(tables.GARDEN, rows()))


def test_a_table_without_rows_is_a_file_all_the_same(tmp_path: Path) -> None:
    pieces = list(as_parquet(tables.LOTS, []))
    assert sum(rows for rows, _ in pieces) == 0
    (tmp_path / "lots.parquet").write_bytes(b"".join(piece for _, piece in pieces))
    assert pq.read_table(tmp_path / "lots.parquet").column_names == [c.name for c in tables.LOTS.columns]
