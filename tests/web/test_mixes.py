"""The pages of mixes say what the same questions answer."""

import re
from html import unescape

import pytest

from tests.services.little_garden import CAPACITY, DRY_LINE
from tests.web.conftest import Visitor, words_of
from traywarden.domain.journal import Kind
from traywarden.services.journal import Draft, put
from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.mix_advice import ask_mix_advice
from traywarden.services.questions.mixes import ask_mix_compare
from traywarden.services.questions.moisture import ask_moisture
from traywarden.services.questions.soaked import ask_soaked
from traywarden.web.phrases import in_plain_words, on_a_page

HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)> \u202eabc 🍅 a/b?c&d|x"


def ids(visitor: Visitor) -> dict[str, int]:
    with visitor.face.asking() as on:
        return {mix.name: mix.mix_id for mix in on.mixes.values()}


def test_each_mix_shows_its_recipe_in_parts_and_the_water_it_holds(visitor: Visitor) -> None:
    words, text = visitor.words("/mixes"), visitor.get("/mixes")
    assert 'aria-label="Peat mix: 3 peat, 1 perlite"' in text
    assert "peat 3 (75 %)" in words
    assert "perlite 1 (25 %)" in words
    assert (
        f"Holds {CAPACITY:g} m³/m³ after draining (container capacity); dry line {DRY_LINE:g} m³/m³" in words
    )
    widths = [float(w) for w in re.findall(r'<rect x="128"[^>]* width="([\d.]+)"', text)]
    assert widths == pytest.approx([120, 40, 120, 60])  # 3 to 1, and 2 to 1
    with visitor.face.asking() as on:
        for tray in on.trays.values():
            assert f'<a href="/trays/{tray.tray_id}">{tray.name}</a>' in text


def test_an_accepted_container_capacity_shows_at_once(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        data = {"container_capacity_m3_m3": 0.61}
        with visitor.face.asking() as on:
            put(
                tx,
                Draft(Kind.CAPACITY_ACCEPTED, on.now_ms, mix_id=ids(visitor)["Peat mix"], data=data),
                on.now_ms,
            )
    assert "Holds 0.61 m³/m³" in visitor.words("/mixes")


def test_dry_down_is_told_by_mix_and_stretch_by_stretch(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        answer = ask_dry_down(on)
    words = visitor.words("/mixes")
    assert len(answer.stretches) > 3
    for stretch in answer.stretches:
        assert f"{stretch.start.day:2d} {stretch.start:%b %H:%M}".strip() in words
        assert f"{stretch.first_pct:.0f} → {stretch.last_pct:.0f}" in words
        if stretch.rate_pct_per_day is not None:
            assert f"{stretch.rate_pct_per_day:.1f}" in words
    for mix in answer.mixes:
        assert f"Every stretch of {mix.mix}" in words
        assert mix.reason in words.replace("Too few", "too few")


def test_how_long_mixes_stay_soaked_is_told_with_every_watering(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        answer = ask_soaked(on)
    words = visitor.words("/mixes")
    assert answer.sentence in words
    assert answer.waterings
    for watering in answer.waterings:
        assert f"{watering.tray} {watering.at.day:2d} {watering.at:%b %H:%M}".replace("  ", " ") in words
    csv = visitor.client.get("/charts/soaked.csv").text.splitlines()
    assert len(csv) == 1 + len(answer.waterings)


def test_advice_stands_first_with_its_limits(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        answer = ask_mix_advice(on)
    words = visitor.words("/mixes")
    assert words.startswith(f"Mixes {answer.sentence}")
    assert in_plain_words(answer.limits_source) in words


def test_mixes_are_compared_two_by_two_unasked_and_in_full_when_asked(visitor: Visitor) -> None:
    mix = ids(visitor)
    with visitor.face.asking() as on:
        unasked = ask_mix_compare(on, "Bark mix", "Peat mix")
        answer = ask_mix_compare(on, "Peat mix", "Bark mix", 10)
    assert unasked.sentence in visitor.words("/mixes")
    words = visitor.words(f"/mixes/compare?a={mix['Peat mix']}&b={mix['Bark mix']}&days=10")
    assert answer.sentence in words
    assert f"{answer.a.waterings} {answer.a.stretches} {answer.a.trays}" in words
    for remark in answer.remarks:
        assert words_of(f"<main>{on_a_page(remark[1:])}</main>") in words


def test_page_and_charts_look_back_as_far_as_asked(visitor: Visitor) -> None:
    found = re.findall(r'data-chart="([^"]+)"', visitor.get("/mixes?days=5"))
    assert [unescape(address) for address in found] == [
        "/charts/dry_down.json?days=5",
        "/charts/soaked.json?days=5",
    ]
    with visitor.face.asking() as on:
        answer, soaked = ask_dry_down(on, days=5), ask_soaked(on, days=5)
        longer = ask_soaked(on)
    assert len(soaked.waterings) < len(longer.waterings)
    words = visitor.words("/mixes?days=5")
    for mix, of_all in zip(soaked.mixes, longer.mixes, strict=True):
        assert mix.waterings < of_all.waterings
        middle = "–" if mix.soaked_h is None else f"{mix.soaked_h:.0f}"
        assert f"{mix.mix} {middle} {mix.waterings} {mix.trays}" in words
    rows = visitor.client.get("/charts/dry_down.csv?days=5").text.splitlines()
    assert len(rows) == 1 + len(answer.stretches)
    assert len(answer.stretches) < len(visitor.client.get("/charts/dry_down.csv").text.splitlines()) - 1


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("/mixes?days=x", "is no number of days"),
        ("/mixes?days=0", "is no number of days"),
        ("/mixes?days=99999999999", "is no number of days"),
        ("/mixes/compare?a=1&b=1", "cannot be compared with itself"),
        ("/mixes/compare?a=1&b=77", "Choose two mixes"),
        ("/mixes/compare?a=1&b=²", "Choose two mixes"),
        ("/mixes/compare?a=1&b=2&days=-3", "is no number of days"),
    ],
)
def test_what_cannot_be_asked_is_said(visitor: Visitor, path: str, why: str) -> None:
    assert why in visitor.words(path)


def test_hostile_names_are_shown_as_text_and_parts_too(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        parts = '{"<b>peat</b> of a name that is far too long": 3, "\\"": 1}'
        tx.exec_driver_sql(
            "UPDATE mix SET name = ?, note = ?, parts = ? WHERE name = 'Peat mix'", (HOSTILE, HOSTILE, parts)
        )
        tx.exec_driver_sql("UPDATE tray SET name = ? WHERE name = 'tomatoes'", (HOSTILE,))
    mix = ids(visitor)
    for path in ("/mixes", f"/mixes/compare?a={mix[HOSTILE]}&b={mix['Bark mix']}", "/charts/dry_down.html"):
        text = visitor.get(path)
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert "<b>peat" not in text
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text, path
    svg = visitor.client.get("/charts/dry_down.svg").text
    assert "<script>" not in svg
    assert "x</text>" in svg, "a stroke in a name does not cut it"


def test_without_readings_the_recipes_stay_and_the_page_says_what_comes_next(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM reading")
    words = visitor.words("/mixes")
    assert "There are no readings yet" in words
    assert "peat 3 (75 %)" in words


def test_the_capacity_that_is_said_holds_from_then_on_for_the_mix_or_one_tray(visitor: Visitor) -> None:
    words = visitor.send("/mixes/accept", back="/mixes", mix="Peat mix", capacity="51,5")
    assert "container capacity of Peat mix is 0.515 m³/m³" in words
    with visitor.face.asking() as on:
        mix = next(m for m in on.mixes.values() if m.name == "Peat mix")
        assert on.facts.mix_as_held(mix, None, on.now_ms).container_capacity_m3_m3 == 0.515
    words = visitor.send("/mixes/accept", back="/mixes", mix="Peat mix", tray="lettuce", capacity="60")
    assert "lettuce: container capacity of Peat mix is 0.6" in words
    refused = visitor.send("/mixes/accept", back="/mixes", mix="Peat mix", capacity="0.55")
    assert "cannot be; give" in refused


def test_without_a_value_what_waterings_show_is_taken_or_why_not_is_said(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        shown = ask_moisture(on).mixes
    page = visitor.words("/mixes")
    for each in shown:
        learned = each.learned_m3_m3 is not None
        told = f"{each.waterings} thorough waterings show" if learned else each.reason
        assert in_plain_words(told) in page
    words = visitor.send("/mixes/accept", back="/mixes", mix=shown[0].mix)
    if shown[0].learned_m3_m3 is None:
        assert "Nothing shows the container capacity" in words
        assert "--value" not in words
    else:
        assert f"is {shown[0].learned_m3_m3:.3g}" in words
