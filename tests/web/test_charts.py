"""Charts as files: what is not measured yet is said in the picture's place, and a table opens as a table."""

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
