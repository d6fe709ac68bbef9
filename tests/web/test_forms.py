"""Without scripts everything works: each deed, everything made, and each setting, by what stands in the HTML.

What is tried is counted from the source: a deed, a maker or a setting that is added and not tried here fails.
"""

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from fastapi.routing import APIRoute

from tests.web.conftest import Visitor
from tests.web.form_client import Fill, Page, Reader
from traywarden.domain.journal import Kind
from traywarden.domain.units import Display
from traywarden.settings import FILE_ONLY, TABLE, Secret, Setting, load
from traywarden.store import garden as garden_store
from traywarden.web import calibrate, journal, making, settings, weather, writing
from traywarden.web.app import PAGES
from traywarden.web.setting_units import scale_of

LOT, WEATHER = "Roma", b"date,tmin,tmax\n2025-03-01,2.0,12.0\n2025-03-02,3.0,13.5\n"


@dataclass(frozen=True)
class Tried:
    """A form: the page it is on, what is filled in, and what the journal or the page says then."""

    page: str
    fill: dict[str, Fill] = field(default_factory=dict)
    kinds: tuple[Kind, ...] = ()
    held: dict[str, str] = field(default_factory=dict)
    says: str = ""
    button: str = ""


ONE: dict[str, Fill] = {"tray": ["lettuce"], "at": "2 h ago", "note": "by hand"}
DEEDS = {
    "watered": Tried("", {**ONE, "how": "below", "litres": "1,5"}, (Kind.WATERED,)),
    "sowed": Tried(
        "", {**ONE, "crop": "Tomato", "cells": "20", "seeds_per_cell": "2", "depth_mm": "6"}, (Kind.SOWED,)
    ),
    "emerged": Tried("", {**ONE, "count": "12", "filled": "9"}, (Kind.EMERGED,)),
    "moved": Tried("", {**ONE, "to": "Shade"}, (Kind.MOVED,)),
    "potted-up": Tried("", {**ONE, "count": "7"}, (Kind.POTTED_UP,)),
    "planted-out": Tried("", {**ONE, "count": "5"}, (Kind.PLANTED_OUT,)),
    "weighed": Tried("", {**ONE, "grams": "1840"}, (Kind.WEIGHED,)),
    "levelled": Tried("", dict(ONE), (Kind.LEVELLED,)),
    "closed": Tried("", {"place": "Cold frame", "at": "2 h ago", "note": "cold"}, (Kind.CLOSED,)),
    "vented": Tried("", {"place": "Cold frame", "at": "2 h ago", "note": "warm"}, (Kind.VENTED,)),
    "rained": Tried("", {"mm": "3.2", "at": "yesterday", "note": "a shower"}, (Kind.RAINED,)),
    "note": Tried("", {**ONE, "note": "a slug\non the rim"}, (Kind.NOTED,)),
}
MADE = {
    "garden": Tried("/settings", {"name": "Hill", "latitude": "38", "longitude": "-9"}, says="called “Hill”"),
    "place": Tried(
        "/settings/places", {"name": "P", "kind": "greenhouse", "covered": "no"}, says="Place “P”"
    ),
    "mix": Tried(
        "/settings/mixes", {"name": "M", "part1": "coir", "share1": "2", "capacity": "60"}, says="Mix “M”"
    ),
    "mix-changed": Tried("/settings/mixes", {"dry_line": "30", "note": "new"}, says="is changed"),
    "tray": Tried(
        "/settings/trays",
        {"name": "T", "mix": "Bark mix", "place": "Shade"},
        (Kind.FILLED, Kind.MOVED),
        says="Tray “T”",
    ),
    "refill": Tried("/settings/trays", {"tray": "peppers", "mix": "Peat mix"}, (Kind.FILLED,)),
    "lot": Tried(
        "/settings/lots",
        {"name": "L", "crop": "Tomato", "germination": "80%", "tested": True},
        says="Lot “L”",
    ),
    "lot-tested": Tried("/settings/lots", {"seeds": "50", "sprouted": "41", "days": "7"}, (Kind.TESTED,)),
    "lot-packed": Tried("/settings/lots", {"at": "2025-11-01"}, (Kind.PACKED,)),
    "head": Tried("/probes/1", {"where": "tray lettuce"}, (Kind.HEAD_PLACED,), {"head": "bench/2"}),
    "head-out": Tried("/probes/1", {"at": "1 h ago"}, (Kind.HEAD_TAKEN_OUT,), {"head": "bench/2"}),
    "probe-called": Tried("/probes/1", {"new": "Bench probe"}, says="is called “Bench probe” on pages"),
    "rename": Tried("/settings/trays", {"new": "other peppers"}, (Kind.RENAMED,), {"name": "peppers"}),
}
CALIBRATED = {
    "two-point": Tried(
        "/settings/mixes", {"dry_volts": "2.4", "wet_volts": "1.2"}, (Kind.CALIBRATED,), {"mix": "Bark mix"}
    ),
    "weigh": Tried("/probes/heads/2", {"grams": "640"}, (Kind.WEIGHED,)),
    "curve": Tried("/probes/heads/2?pot_litres=1&dry_grams=400", {}, (Kind.CALIBRATED,)),
}
OF_SETTINGS = {
    "add-channel": Tried(
        "/settings/notices",
        {"name": "phone", "to": "me@example.org", "server": "mail.example.org"},
        says="Kept: “phone” takes everything",
    ),
    "quiet-hours": Tried(
        "/settings/notices",
        {"notices.quiet_from": "21:00", "notices.quiet_until": "06:00"},
        says="Kept: from 21:00 to 06:00 only what is urgent is sent",
    ),
    "test-channel": Tried("/settings/notices", says="did not take the test"),
    "change-channel": Tried(
        "/settings/notices",
        {"least_severity": "urgent", "digest": "every 4 h"},
        says="Kept: “old” takes only what is urgent, every 4 h.",
    ),
    "remove-channel": Tried("/settings/notices", says="“old” is taken out"),
    "give": Tried(
        "/settings/rules",
        {"setting": "dry.open_delay_s", "whom": "stage sown", "value": "40"},
        says="Kept for stage sown",
    ),
    "take-back": Tried("/settings/rules", says="Taken out of settings.toml: dry.mix.Peat mix.line_times"),
    "open": Tried("/settings", {"to": "network", "port": "8471"}, says="when the host starts anew"),
}
OTHERS = {
    "/hush": Tried("/", {"place": "Cold frame", "until": "3 h", "why": "away"}, says="Hushed until"),
    "/hush/undo": Tried("/", says="Heard of again"),
    "/undo": Tried("/journal", says="Journal"),
    "/journal/correct": Tried("/journal", {"litres": "2"}, (Kind.WATERED,)),
    "/mixes/accept": Tried("/mixes", {"capacity": "57"}, (Kind.CAPACITY_ACCEPTED,)),
    "/theme": Tried("/", {"theme": "dark"}),
}
ELSEWHERE = {
    "/sign-in": "tests/web/test_sign_in.py", "/sign-out": "tests/web/test_sign_in.py",
    "/notices/retry": "tests/web/test_hushing.py, where a channel has failed",
    "/password": "below, on the way to opening the pages to the phone",
    "/weather/upload": "below", "/weather/read-in": "below", "/weather/forget": "below",
    "/settings/change": "below, for every row of the table",
}  # fmt: skip


NO_PAGES = ("/charts/", "/download/", "/api", "/week/file", "/settings/crops/", "/sowings/plan.ics")
"""Links to files; and pages of crops, which are many and have no form."""


def tried() -> dict[str, Tried]:
    groups = (("/write/", DEEDS), ("/make/", MADE), ("/calibrate/", CALIBRATED), ("/settings/", OF_SETTINGS))
    by_action = {f"{path}{what}": each for path, group in groups for what, each in group.items()}
    return by_action | OTHERS


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory, _little_home: Path) -> Path:
    """The little garden with a lot, a channel, a hush to come, weighings, and seedlings up."""
    home = tmp_path_factory.mktemp("forms") / "home"
    shutil.copytree(_little_home, home)
    (home / "settings.toml").write_text(
        '[[channel]]\nname = "old"\nurl = "json://localhost:9/"\n[dry.mix."Peat mix"]\nline_times = 0.9\n'
    )
    made = Visitor(home)
    with made.store.write() as tx:
        garden_store.add_lot(tx, LOT, "tomato", 0.85)
    made.send("/write/emerged", tray="lettuce", count="3", at="4 h ago")
    for day, grams, volts in ((5, 950, 1.2), (4, 820, 1.5), (3, 700, 1.8), (2, 560, 2.1), (1, 430, 2.4)):
        made.send(
            "/calibrate/weigh", head="bench/1", grams=f"{grams}", volts=f"{volts}", at=f"{day} days ago"
        )
    made.close()
    return home


@pytest.fixture
def visitor(home: Path, tmp_path: Path) -> Iterator[Visitor]:
    copied = tmp_path / "own"
    shutil.copytree(home, copied)
    made = Visitor(copied)
    yield made
    made.close()


@pytest.fixture
def reader(visitor: Visitor) -> Reader:
    return Reader(visitor.client)


def _page_of(reader: Reader, action: str, each: Tried) -> Page:
    """Where a grower finds the form."""
    if action.startswith("/write/"):
        return reader.follow(reader.open("/journal"), journal.WAYS[action.removeprefix("/write/")])
    if action == "/hush/undo":
        return reader.send(reader.open("/").form("/hush"), {})
    if action == "/journal/correct":
        return reader.follow(reader.open("/journal?kind=watered"), "Correct entry")
    if action == "/settings/open":
        password = {"new": "long enough", "again": "long enough"}
        return reader.send(reader.open("/settings").form("/password"), password)
    return reader.open(each.page)


@pytest.mark.parametrize("action", tried())
def test_a_form_does_what_it_says(visitor: Visitor, reader: Reader, action: str) -> None:
    each = tried()[action]
    page = _page_of(reader, action, each)
    before = visitor.entries()
    told = reader.send(page.form(action, each.fill, **each.held), each.fill, each.button)
    assert "Not written" not in told.words or action == "/settings/test-channel", told.words[:300]
    assert each.says in told.words
    new = [entry for entry in visitor.entries() if entry not in before]
    assert [entry.kind for entry in new] == list(each.kinds)
    if action == "/undo":
        assert len(visitor.entries()) == len(before) - 1
    if action == "/theme":
        assert told.form("/theme").named("theme")[0].value == "dark"
    if not new:
        return
    assert "Written down" in told.words or each.says
    for name, value in each.fill.items():
        if name in ("count", "grams", "mm", "litres", "cells", "depth_mm"):
            assert float(new[0].data[name]) == float(str(value).replace(",", "."))
        if name == "note":
            assert new[0].note == value


def test_every_form_of_the_pages_is_tried() -> None:
    assert set(DEEDS) == set(writing.DEEDS) == set(journal.WAYS)
    assert set(MADE) == set(making.MAKERS)
    assert set(CALIBRATED) == set(calibrate.DEEDS)
    assert set(OF_SETTINGS) | {"change"} == set(settings.CHANGES)
    named = {"/write/{what}", "/make/{what}", "/calibrate/{what}", "/settings/{what}"}
    every = {
        route.path
        for module in PAGES
        for route in module.router.routes
        if isinstance(route, APIRoute) and "POST" in (route.methods or ())
    }
    every |= {f"/weather/{deed}" for deed in weather.DEEDS}
    assert every - named - {"/weather/{deed}"} == set(OTHERS) | set(ELSEWHERE) - {"/settings/change"}


def test_every_form_of_every_page_leads_somewhere(reader: Reader) -> None:
    """Also forms that are only on pages of one tray, place or head: none has an address that is not tried."""
    known = set(tried()) | set(ELSEWHERE)
    seen, to_do = {"/"}, ["/"]
    while to_do:
        path = to_do.pop()
        page = reader.open(path)
        assert {form.action for form in page.forms if form.method == "post"} <= known, path
        for href, _ in page.links:
            kind = href.partition("?")[0].partition("#")[0]
            if kind.startswith("/") and kind not in seen and not kind.startswith(NO_PAGES):
                seen.add(kind)
                to_do.append(href)


# Settings ---------------------------------------------------------------------------------------------------

TEXTS: dict[str, dict[str, Fill]] = {
    "broker.host": {"broker.host": "localhost"},
    "broker.user": {"broker.user": "me", "broker.password": "a long one"},
    "broker.password": {"broker.user": "me", "broker.password": "a long one"},
    "broker.client_id": {"broker.client_id": "other-host"},
    "broker.ca_file": {"broker.ca_file": "authority.pem"},
    "wired.ports": {"wired.ports": "/dev/ttyACM0"},
    "notices.quiet_from": {"notices.quiet_from": "22:00", "notices.quiet_until": "06:30"},
    "notices.quiet_until": {"notices.quiet_from": "22:00", "notices.quiet_until": "06:30"},
    "notices.console_digest": {"notices.console_digest": "every 4 h"},
    "notices.mqtt_digest": {"notices.mqtt_digest": "every 8 h"},
    "notices.address": {"notices.address": "http://192.168.1.5:8470"},
}
"""Words of settings that are neither numbers nor chosen, with what must be given beside them."""


def _other(row: Setting, shown: str, options: list[str]) -> dict[str, Fill]:
    """Another value than the one shown, as a grower would type or choose it."""
    if options:
        return {row.key: next(option for option in options if option != shown)}
    if row.kind is int or row.kind is float:
        value = float(shown)
        other = value * 1.02 if row.kind is float else value + 1
        return {row.key: f"{other if value else 900 if row.key.endswith('_s') else 0.5:g}".replace(".", ",")}
    return TEXTS[row.key]


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row.key)
def test_every_setting_is_changed_by_its_form(visitor: Visitor, reader: Reader, row: Setting) -> None:
    section = row.key.partition(".")[0]
    where = next((name for name, (_, sections) in settings.PAGES.items() if section in sections), "")
    page = reader.open(f"/settings/{where}".removesuffix("/"))
    forms = [form for form in page.forms if form.named(row.key)]
    if section in FILE_ONLY:
        assert forms == []
        assert "These are changed in settings.toml alone" in page.words
        return
    (form,) = forms
    (shown,) = form.named(row.key)
    fill = _other(row, shown.value, shown.options)
    before = load(visitor.home, environ={})[row.key]
    told = reader.send(form, fill)
    assert "Kept:" in told.words, told.words[:300]
    held = load(visitor.home, environ={})[row.key]
    assert held != before
    if row.kind is not Secret:
        scale = scale_of(row, Display())
        assert settings.shown(held, scale) == str(fill[row.key]).replace(",", ".")
        (shown,) = [each for form in told.forms for each in form.named(row.key)]
        assert shown.value == settings.shown(held, scale)


def test_past_weather_is_read_in_and_forgotten(visitor: Visitor, reader: Reader) -> None:
    del visitor
    page = reader.open("/weather")
    looked = reader.send(page.form("/weather/upload"), {"what": "weather", "upload": ("years.csv", WEATHER)})
    assert "2 days" in looked.words
    told = reader.send(looked.form("/weather/read-in"), {"source": "station"})
    assert "2 days of “station” are read in" in told.words
    gone = reader.send(told.form("/weather/forget"), {"source": "station"})
    assert "Forgotten: 0 forecast hours and 2 days of “station”" in gone.words
