"""The page and the file of the week say what `week` says, and hold whatever names there are."""

import base64
import re
import shutil
from pathlib import Path

import pytest

from tests.web.conftest import Visitor
from traywarden.domain.units import Display
from traywarden.errors import UsageError
from traywarden.links import paper
from traywarden.services.questions.week import WeekAnswer, ask_week
from traywarden.web.phrases import in_plain_words
from traywarden.web.week import week_file


def _answer(visitor: Visitor) -> WeekAnswer:
    with visitor.face.asking() as on:
        return ask_week(on)


def _numbers(answer: WeekAnswer) -> list[str]:
    found = [answer.sentence, *(c.sentence for c in answer.comparisons), *(c.says for c in answer.coming)]
    for tray in answer.trays:
        found += [tray.tray, f"{tray.by_hand} ×", f"{tray.driest_pct:.0f} %", f"{tray.below_line_h:.0f} h"]
        found += [f"{tray.soil_low_c:.1f} °C to {tray.soil_high_c:.1f} °C", f"{tray.soil_mean_c:.1f} °C"]
    for place in answer.places:
        found += [place.place, f"{place.low_c:.1f} °C", f"{place.high_c:.1f} °C"]
    return found


def test_every_number_of_the_answer_is_on_the_page(visitor: Visitor) -> None:
    answer, words = _answer(visitor), visitor.words("/week")
    for said in _numbers(answer):
        assert in_plain_words(said) in words, said


def test_one_comes_from_week_to_week(visitor: Visitor) -> None:
    assert 'href="/week?ending=2026-03-09"' in visitor.get("/week")
    page = visitor.get("/week?ending=2026-03-09")
    assert 'href="/week?ending=2026-03-16"' in page
    assert "This week is over" in page


def test_its_chart_answers_in_every_format(visitor: Visitor) -> None:
    (address,) = re.findall(r'data-chart="([^"]+)"', visitor.get("/week"))
    address = address.replace("&amp;", "&")
    (found,) = _answer(visitor).comparisons
    for kind in ("json", "svg", "csv", "html"):
        assert visitor.client.get(address.replace(".json", f".{kind}")).status_code == 200
    table = visitor.client.get(address.replace(".json", ".csv")).text.splitlines()
    assert len(table) == 1 + len(found.comparison.days)


def test_the_file_needs_nothing_beside_it(visitor: Visitor) -> None:
    answer = visitor.client.get("/week/file.html")
    assert answer.headers["content-disposition"] == 'attachment; filename="week-2026-03-16.html"'
    assert not re.search(r'(src|href)="(?!data:)', answer.text)
    assert "url(" not in answer.text
    assert "<script" not in answer.text
    (picture,) = re.findall(r'src="data:image/svg\+xml;base64,([^"]+)"', answer.text)
    assert base64.b64decode(picture).startswith(b"<svg")
    text = " ".join(re.sub(r"<[^>]+>", " ", answer.text).split())
    for said in _numbers(_answer(visitor)):
        assert in_plain_words(said) in text, said


def test_hostile_names_are_shown_as_text(visitor: Visitor) -> None:
    name = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)> \u202eabc"[:60]
    with visitor.store.write() as tx:
        tx.exec_driver_sql("UPDATE tray SET name = ? WHERE name = 'lettuce'", (name,))
        tx.exec_driver_sql("UPDATE place SET name = ? WHERE name = 'Cold frame'", (name,))
    for text in (visitor.get("/week"), week_file(_answer(visitor), Display("C", "mm"))):
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert" in text
        assert "<img src=x" not in text


def test_a_day_that_is_none_is_said_in_one_sentence(visitor: Visitor) -> None:
    assert "is not over" in visitor.get("/week?ending=2027-01-01", status=400)
    assert "cannot be read" in visitor.get("/week?ending=<b>", status=400)


def test_a_garden_without_readings_says_what_comes_next(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM reading")
    assert "no readings yet" in visitor.words("/week")


def test_without_a_browser_a_pdf_is_refused_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda name: None)
    with pytest.raises(UsageError, match="print it"):
        paper.browser()


def test_a_browser_that_fails_is_told_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    broken = tmp_path / "chromium"
    broken.write_text("#!/bin/sh\necho no display >&2\nexit 3\n")
    broken.chmod(0o755)
    monkeypatch.setattr(shutil, "which", lambda name: str(broken))
    with pytest.raises(UsageError, match="no display"):
        paper.as_pdf(tmp_path / "week.html", tmp_path / "week.pdf")
