"""Charts as files: what is not measured yet is said in the picture's place, and a table opens as a table."""

import re
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from tests.web.conftest import Visitor
from traywarden.errors import ShortOfDataError
from traywarden.services.questions.ground import Ground
from traywarden.web.charts import CHARTS, Chart, Params, as_csv


def _nothing(on: Ground, params: Params) -> Chart:
    raise ShortOfDataError("Nothing was measured in <Bench> & frame; " + "wait for the probes " * 8)


def test_a_chart_that_cannot_be_drawn_yet_says_why_in_its_place(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(CHARTS, "nothing", _nothing)
    drawn = visitor.get("/charts/nothing.svg")
    assert "measured in &lt;Bench&gt; &amp; frame" in drawn
    assert drawn.count("<text") == 3
    assert visitor.client.get("/charts/nothing.json").json()["why"].startswith("Nothing was measured")
    assert "Nothing was measured" in visitor.words("/charts/nothing.csv", status=409)


def test_there_is_no_chart_of_any_other_name_or_kind(visitor: Visitor) -> None:
    for address in ("/charts/nowhere.svg", "/charts/tray.exe", "/charts/%2e%2e%2fetc.svg"):
        assert visitor.client.get(address).status_code in (400, 404)


def test_a_cell_is_never_a_formula() -> None:
    table = as_csv(Chart({}, "", ("tray", "°C"), (("=1+1", 1.5), ("@x", float("nan")), ("A1", None))))
    assert table.splitlines() == ["tray,°C", "'=1+1,1.5", "'@x,", "A1,"]


def test_a_table_says_when_in_the_gardens_time_and_the_file_beside_it_in_full(visitor: Visitor) -> None:
    with visitor.store.write() as tx:  # a garden whose clock is not UTC
        tx.exec_driver_sql("UPDATE garden SET time_zone = 'Asia/Tokyo'")
    file, page = visitor.get("/charts/soaked.csv"), visitor.words("/charts/soaked.html")
    instants = re.findall(r"\d{4}-\d\d-\d\dT[\d:.]+[+-]\d\d:\d\d", file)
    assert instants
    for each in instants:
        assert f"{datetime.fromisoformat(each).astimezone(ZoneInfo('Asia/Tokyo')):%Y-%m-%d %H:%M}" in page
        assert each not in page
