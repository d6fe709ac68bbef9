"""Settings: the garden, units, and everything of the table by topic, written into settings.toml."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from traywarden.domain.notice_words import SAYINGS, rule_words
from traywarden.domain.notices import takes_words
from traywarden.domain.severities import SEVERITIES
from traywarden.domain.units import Display
from traywarden.errors import ChannelError, TraywardenError, UsageError
from traywarden.links.open_broker import check_closed
from traywarden.services.position import position_of
from traywarden.services.questions.worth import ask_worth
from traywarden.services.running import running_host
from traywarden.settings import (
    AT_ONCE,
    BY_KEY,
    FILE_ONLY,
    TABLE,
    OneOf,
    Secret,
    Setting,
    Settings,
    change_settings,
    fixed_by,
    load,
    ruling,
)
from traywarden.web import channels
from traywarden.web.face import FROM_NEXT_START, FROM_NOW, Face
from traywarden.web.giving import give, giving, take_out
from traywarden.web.opening import doors, open_doors
from traywarden.web.pages import back_to, bare_page, face_of, page
from traywarden.web.security import form_of
from traywarden.web.setting_units import Scale, bounds_words, scale_of
from traywarden.web.start import zones_by_region
from traywarden.web.writing import Written
from traywarden.wire.topics import notices_topic

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
TITLES: Mapping[str, str] = {
    "display": "Units",
    **{rule: f"Notice “{rule_words(rule)}”" for rule in SAYINGS},
    "notices": "How notices go out",
    "week": "The week’s report by schedule",
    "frames": "Frames and covers",
    "moisture": "The 1–5 moisture scale",
    "mix": "What is wrong with a mix",
    "emergence": "Emergence",
    "coverage": "How much of a day must be measured",
    "probes": "Probes",
    "wired": "Probes on the USB cable",
    "broker": "Broker",
    "wire": "What is taken in",
    "store": "Where readings are kept",
    "host": "The host",
    "web": "The pages",
}
"""Headings of the table's sections."""
OF_RULES = tuple(dict.fromkeys(row.key.partition(".")[0] for row in ruling.ROWS))
OFTEN_SET = ("dry", "cold")
ELSEWHERE = (*OFTEN_SET, "broker")
"""Rules whose levels stand beside how notices go out, or with what they are about; the others have a page."""
PAGES: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "notices": ("Notices", (*OFTEN_SET, "notices", "week")),
    "rules": ("When a notice is due", tuple(rule for rule in OF_RULES if rule not in ELSEWHERE)),
    "growing": ("How the garden is judged", ("frames", "moisture", "mix", "emergence", "coverage")),
    "devices": ("Probes, broker, host", ("probes", "wired", "broker", "wire", "store", "host", "web")),
}
"""Pages of settings by the last part of their address: title and sections."""
MASK = "•••"
SOME_FROM_NOW = "Delays of notices hold from now on; the rest when the host starts anew."


@dataclass(frozen=True, slots=True)
class Row:
    """One setting as a form shows it. `fixed_by` says what stands in the way of changing it here."""

    setting: Setting
    value: str
    default: str
    kind: str
    choices: tuple[str, ...]
    fixed_by: str
    unit: str

    @property
    def name(self) -> str:
        return self.setting.key.partition(".")[2].replace("_", " ")


@dataclass(frozen=True, slots=True)
class Topic:
    """A section of the table. `when`: from when on a change holds."""

    section: str
    title: str
    rows: tuple[Row, ...]
    when: str
    file_only: bool


@router.get("/settings")
def settings(request: Request) -> HTMLResponse:
    face = face_of(request)
    written = load(face.settings.home)
    with face.asking() as on:
        return page(
            request,
            on,
            "settings.html",
            title="Settings",
            the_garden=on.garden,
            stand_in=position_of(on).stand_in,
            zones=zones_by_region(),
            units=topic_of("display", written, on.display),
            home=str(face.settings.home),
            doors=doors(face.settings.home),
            counts={
                "places": len(on.places),
                "trays": len(on.trays),
                "mixes": len(on.mixes),
                "lots": len(on.lots),
            },
            pages={name: title for name, (title, _) in PAGES.items()},
        )


@router.get("/settings/{name}")
def topics(request: Request, name: str) -> Response:
    if name not in PAGES:
        return bare_page(
            request, "refused.html", status=404, title="Not here", why="There is no such page here."
        )
    face, (title, sections) = face_of(request), PAGES[name]
    written = load(face.settings.home)
    with face.asking() as on:
        shown_topics = [topic_of(section, written, on.display) for section in sections]
        return page(
            request,
            on,
            "settings_notices.html" if name == "notices" else "settings_topics.html",
            title=title,
            topics=shown_topics,
            parts=channels.sorted_out(shown_topics) if name == "notices" else None,
            channels=channels.channels(written),
            takes=channels.choices(),
            quiet=channels.quiet_now(written),
            console=written["notices.console"],
            ways=channels.ways(written),
            mqtt=notices_topic(on.garden.slug) if written["notices.mqtt"] else "",
            worth=ask_worth(on) if name == "notices" else None,
            giving=giving(on, written) if name == "rules" else None,
            as_shown=lambda key, value: shown(value, scale_of(BY_KEY[key], on.display)),
            running=running_host(face.settings.home) is not None,
            at_once=all(topic.when == FROM_NOW for topic in shown_topics),
        )


def topic_of(section: str, written: Settings, display: Display) -> Topic:
    rows = tuple(_row(s, written[s.key], display) for s in TABLE if s.key.partition(".")[0] == section)
    at_once = sum(row.setting.key in AT_ONCE for row in rows)
    when = FROM_NOW if at_once == len(rows) else FROM_NEXT_START if not at_once else SOME_FROM_NOW
    return Topic(section, TITLES[section], rows, when, section in FILE_ONLY)


def _row(setting: Setting, value: Any, display: Display) -> Row:
    check = setting.check
    kind = {bool: "yes or no", int: "number", float: "number", Secret: "secret"}.get(setting.kind, "text")
    choices = check.allowed if isinstance(check, OneOf) else ()
    scale = scale_of(setting, display)
    return Row(
        setting,
        shown(value, scale),
        shown(setting.kind(setting.default), scale),
        "choice" if choices else kind,
        choices,
        fixed_by(setting.key),
        scale.unit,
    )


def shown(value: Any, scale: Scale) -> str:
    """A value as a form holds it; a secret as dots."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return scale.shown(value) if isinstance(value, int | float) else str(value)


Change = Callable[[Face, Written], str]


@router.post("/settings/{what}")
async def change(request: Request, what: str) -> Response:
    form = await form_of(request)
    if what not in CHANGES:
        raise UsageError(f"There is no setting “{what[:40]}” to change.")
    try:
        says = await run_in_threadpool(CHANGES[what], face_of(request), Written.of(form))
    except TraywardenError as error:
        under = "Not sent" if isinstance(error, ChannelError) else ""
        return back_to(request, form.get("back"), problem=str(error), under=under)
    return back_to(request, form.get("back"), says=says)


def _change(face: Face, written: Written) -> str:
    """Those settings of a form that are not as the file has them."""
    home = face.settings.home
    before = load(home)
    display = Display(before["display.temperature"], before["display.length"])
    wanted = {key: _value(BY_KEY[key], before, written, display) for key in written.fields if key in BY_KEY}
    shut = [key for key in wanted if key.partition(".")[0] in FILE_ONLY]
    if shut:
        raise UsageError(f"{shut[0]} is changed in settings.toml alone.")
    changes = {key: value for key, value in wanted.items() if value != before[key]}
    if not changes:
        return "Nothing was changed: all of it is as it was."
    face.take(change_settings(home, changes, _check))
    when = FROM_NOW if changes.keys() <= AT_ONCE else FROM_NEXT_START
    kept = "; ".join(
        f"{_said(BY_KEY[key], value, display)}: {BY_KEY[key].says.rstrip('.')}"
        for key, value in changes.items()
    )
    return f"Kept: {kept}. {when}"


def _said(setting: Setting, value: Any, display: Display) -> str:
    """A value as a sentence says it; nothing of a secret."""
    if setting.kind is Secret:
        return "a new secret" if value else "none"
    scale = scale_of(setting, display)
    words = takes_words(value) if value in SEVERITIES else shown(value, scale) or "empty"
    return f"{words} {scale.unit}".rstrip()


def _value(setting: Setting, before: Settings, written: Written, display: Display) -> Any:
    words = written.text(setting.key)
    if setting.kind is bool:
        return words == "yes"
    if setting.kind is Secret:
        return before[setting.key] if words in ("", MASK) else Secret("" if words == "-" else words)
    if setting.kind is str:
        return words
    return _number(setting, before, written, scale_of(setting, display))


def _number(setting: Setting, before: Settings, written: Written, scale: Scale) -> int | float:
    """A number in the unit it is shown in; as it was, to the last digit, where the form says what it said."""
    if written.text(setting.key) == shown(before[setting.key], scale):
        kept: int | float = before[setting.key]
        return kept
    said = written.number(setting.key)
    if said is None:
        default: int | float = setting.kind(setting.default)
        return default
    value = scale.kept(said)
    if setting.kind is int and not value.is_integer():
        raise UsageError(f"{said:g} {scale.unit} is not a whole number ({setting.key}).".replace("  ", " "))
    if setting.check is not None and setting.check(value):
        bounds = bounds_words(setting, scale)
        raise UsageError(f"{setting.says.rstrip('.')}: {said:g} {scale.unit} cannot be; give {bounds}.")
    return int(value) if setting.kind is int else value


def _check(settings: Settings) -> None:
    """What would keep the host from starting is refused before it is written."""
    if settings["broker.builtin"]:
        check_closed(settings)


CHANGES: Mapping[str, Change] = {
    "change": _change,
    "quiet-hours": channels.quiet_hours,
    "open": open_doors,
    "test-channel": channels.test,
    "add-channel": channels.add,
    "change-channel": channels.change,
    "remove-channel": channels.remove,
    "give": give,
    "take-back": take_out,
}
"""What the pages of settings change, by the last part of its address."""
