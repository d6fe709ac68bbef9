"""What was typed into a form that is refused stands in it again, and nowhere else."""

import re
from html import unescape

import pytest

from tests.web.conftest import Visitor
from traywarden.web.refused import KEPT_S, MOST_KEPT, Refused, Sent, filled_in

HOSTILE = "\"><script>alert(1)</script> & 🍅 \u202e 'x'"


def sent(visitor: Visitor, action: str, back: str, **fields: str | list[str]) -> str:
    """The page that a form's refusal leads to, as it is written."""
    data = {"form_token": visitor.token(), "back": back, **fields}
    return visitor.client.post(action, data=data).text


def value_of(text: str, name: str) -> list[str]:
    return [unescape(v) for v in re.findall(rf'<input[^>]* name="{name}"[^>]* value="([^"]*)"', text)]


def test_a_sowing_that_is_refused_keeps_its_fields_trays_and_note(visitor: Visitor) -> None:
    back = "/journal/write?what=sowed"
    text = sent(
        visitor,
        "/write/sowed",
        back,
        tray=["lettuce", "peppers"],
        crop="Lettuce",
        cells="many",
        note=HOSTILE,
    )
    assert "“many” is not a number" in unescape(text)
    assert value_of(text, "cells") == ["many"]
    ticked = re.findall(r'<input type="checkbox" name="tray" value="(\w+)" checked', text)
    assert sorted(ticked) == ["lettuce", "peppers"]
    assert HOSTILE in unescape(text)
    assert "<script>alert" not in text
    assert value_of(visitor.get(back), "cells") == []  # once


def test_of_many_forms_alike_the_one_that_was_sent_is_filled_and_unfolded(visitor: Visitor) -> None:
    text = sent(visitor, "/make/rename", "/settings/trays", noun="tray", name="lettuce", new="peppers")
    assert "already a tray called “peppers”" in unescape(text)
    forms = re.findall(r"<details(?: open)?><summary>Rename.*?</details>", text, re.DOTALL)
    filled = [form for form in forms if "data-kept" in form]
    assert len(filled) == 1
    assert filled[0].startswith("<details open>")
    assert value_of(filled[0], "new") == ["peppers"]
    assert sum(form.startswith("<details open>") for form in forms) == 1


def test_settings_and_a_new_mix_come_back_too(visitor: Visitor) -> None:
    fields = {"frames.vent_above_c": "hot", "frames.lid_falls_by": "44"}
    text = sent(visitor, "/settings/change", "/settings/growing", **fields)
    assert value_of(text, "frames.vent_above_c") == ["hot"]
    assert value_of(text, "frames.lid_falls_by") == ["44"]
    text = sent(visitor, "/make/mix", "/settings/mixes", name="New", part1="coir", share1="x", part5="bark")
    assert "New" in value_of(text, "name")
    assert "bark" in value_of(text, "part5")


def test_no_password_is_kept(visitor: Visitor) -> None:
    text = sent(visitor, "/password", "/settings", new="wet-hands-here", again="wet-hands-there")
    assert "were not the same" in text
    assert "wet-hands" not in text
    channel = sent(
        visitor, "/settings/change", "/settings/devices", **{"broker.password": "hidden", "broker.port": "x"}
    )
    assert "hidden" not in channel.replace('type="hidden"', "")
    for fields in (
        {"kind": "mail", "server": "no server", "to": "me@example.org", "password": "wet-hands"},
        {"kind": "web", "url": "wet-hands.example"},
        {"kind": "other", "url": "wet-hands://token"},
    ):
        text = sent(visitor, "/settings/add-channel", "/settings/notices", name="phone", **fields)
        assert "Not written" in text
        assert "wet-hands" not in text
        assert "phone" in value_of(text, "name")


def test_the_rest_of_the_page_is_the_same_to_the_letter(visitor: Visitor) -> None:
    page = visitor.get("/settings/trays")
    assert filled_in(page, Sent("/nowhere", (("a", "b"),))) == page
    made = filled_in(page, Sent("/make/tray", ()))
    assert made.replace(" data-kept", "").replace("<details open>", "<details>") == page.replace(
        "<details open>", "<details>"
    )


def test_only_so_many_are_kept_and_not_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    kept = Refused()
    tokens = [kept.keep("/x", [("n", f"{n}")]) for n in range(MOST_KEPT + 3)]
    assert kept.take(tokens[0]) is None
    assert kept.take(tokens[-1]) == Sent("/x", (("n", f"{MOST_KEPT + 2}"),))
    assert kept.take(tokens[-1]) is None
    assert kept.keep("/sign-in", [("password", "x")]) == ""
    assert kept.keep("/x", [("note", "x" * 50_000)]) == ""
    late = kept.keep("/x", [])
    monkeypatch.setattr("time.monotonic", lambda: 1e9 + KEPT_S)
    kept.keep("/x", [])
    assert kept.take(late) is None
