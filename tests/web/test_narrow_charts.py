"""On a phone held upright every chart is of its width: nothing to move sideways, letters to be read."""

import json
import re
from typing import Any

import pytest

from tests.web.conftest import Visitor
from traywarden.web.charts import CHARTS
from traywarden.web.narrow import LEAST_LETTERS_PX, WHOLE_PX, narrowed

SCREEN_PX = 390
LEAST_SCALE = 0.9
"""What is wider than its place is drawn smaller; letters must stay letters."""
ASKED: dict[str, dict[str, Any]] = {
    "tray": {"tray": "1", "days": "14"},
    "batch": {"tray": "tomatoes"},
    "dry_down": {},
    "soaked": {},
    "place_days": {},
    "place_months": {},
    "compare": {"a": "1", "b": "2"},
    "week-compare": {"a": "Cold frame", "b": "Open bench", "measured": "soil", "ending": "2026-03-15"},
    "season": {"crop": "Tomato", "place": "Cold frame", "day": "2026-05-15"},
    "warm": {"crop": "Tomato", "place": "Cold frame"},
}


def test_every_chart_is_looked_at() -> None:
    assert set(ASKED) == set(CHARTS)


@pytest.mark.parametrize("name", ASKED)
def test_a_chart_fits_a_phone_and_shows_the_same(visitor: Visitor, name: str) -> None:
    answer = visitor.client.get(f"/charts/{name}.svg", params=ASKED[name] | {"narrow": "1"})
    assert answer.status_code == 200, answer.text
    size = re.search(r'<svg[^>]* width="([\d.]+)"', answer.text)
    assert size is not None
    assert float(size[1]) <= WHOLE_PX / LEAST_SCALE
    wide, narrow = (
        visitor.client.get(f"/charts/{name}.json", params=ASKED[name] | more).json()
        for more in ({}, {"narrow": "1"})
    )
    if "why" in wide:
        return
    assert narrow["datasets"] == wide["datasets"]
    sizes = re.findall(r'"(?:label|title|subtitle)?[fF]ontSize": ([\d.]+)', json.dumps(narrow))
    assert sizes
    assert min(map(float, sizes)) >= LEAST_LETTERS_PX


def test_a_page_gives_the_phone_its_own_picture(visitor: Visitor) -> None:
    text = visitor.get("/trays/1")
    found = re.search(
        r'<source media="\(max-width: 42rem\)" srcset="(/charts/tray.svg\?[^"]*narrow=1)">', text
    )
    assert found is not None
    assert visitor.client.get(found[1].replace("&amp;", "&")).text.startswith("<svg")
    assert 'data-narrow="/charts/tray.json?' in text


def test_what_a_chart_says_of_itself_is_kept_to() -> None:
    layers = [{"data": {"name": name}, "mark": "text"} for name in ("kept", "left")]
    spec = {
        "usermeta": {"narrow": {"inner_px": 120, "without": ["left"], "right_px": 33}},
        "title": {"text": "one two three four five six seven eight nine"},
        "vconcat": [{"width": 640, "layer": layers, "encoding": {"x": {"axis": {"tickCount": 9}}}}],
    }
    before = json.dumps(spec)
    made = narrowed(spec)
    assert json.dumps(spec) == before
    (view,) = made["vconcat"]
    assert (view["width"], view["layer"]) == (120, layers[:1])
    assert made["padding"]["right"] == 33
    assert len(made["title"]["text"]) == 2
