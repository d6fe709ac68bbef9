"""The download is the same package that the command writes, of the days asked for."""

import csv
import io
import json
import zipfile

from tests.web.conftest import Visitor
from traywarden.store import readings


def _package(visitor: Visitor, query: str = "") -> zipfile.ZipFile:
    answer = visitor.client.get(f"/download/garden.zip{query}")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/zip"
    assert answer.headers["content-disposition"].startswith('attachment; filename="little-garden-2026-03-')
    return zipfile.ZipFile(io.BytesIO(answer.content))


def _readings(archive: zipfile.ZipFile) -> list[dict[str, str]]:
    return [
        row
        for name in archive.namelist()
        if name.startswith("readings/")
        for row in csv.DictReader(io.StringIO(archive.read(name).decode()))
    ]


def test_everything_is_in_it(visitor: Visitor) -> None:
    archive = _package(visitor)
    with visitor.store.read() as tx:
        assert len(_readings(archive)) == readings.count(tx)
    described = json.loads(archive.read("datapackage.json"))
    assert {r["path"] for r in described["resources"]} | {"datapackage.json"} == set(archive.namelist())


def test_the_form_asks_for_the_days_chosen(visitor: Visitor) -> None:
    page = visitor.get("/download")
    assert 'name="from" value="2026-03-02"' in page
    assert 'name="to" value="2026-03-16"' in page
    days = {row["time"][:10] for row in _readings(_package(visitor, "?from=2026-03-04&to=2026-03-05"))}
    assert days == {"2026-03-04", "2026-03-05"}


def test_days_that_are_none_are_said_in_one_sentence(visitor: Visitor) -> None:
    assert "turn the two round" in visitor.get(
        "/download/garden.zip?from=2026-03-09&to=2026-03-05", status=400
    )
    assert "cannot be read" in visitor.get("/download/garden.zip?from=soon", status=400)


def test_a_garden_without_readings_can_be_taken_away_too(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM reading")
    assert visitor.get("/download")
    assert _readings(_package(visitor)) == []


def test_it_can_be_had_as_parquet(visitor: Visitor) -> None:
    answer = visitor.client.get("/download/garden.zip?form=parquet&from=2026-03-10")
    assert answer.headers["content-disposition"].endswith('-parquet.zip"')
    archive = zipfile.ZipFile(io.BytesIO(answer.content))
    readings_of = [name for name in archive.namelist() if name.startswith("readings/")]
    assert readings_of
    assert all(archive.read(name)[:4] == b"PAR1" == archive.read(name)[-4:] for name in readings_of)
    assert '<option value="parquet">' in visitor.get("/download")
