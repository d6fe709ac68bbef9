"""Levels and delays of rules for one crop, mix or stage: what is given, given anew, taken back."""

from collections.abc import Iterator
from dataclasses import dataclass

from traywarden.domain.levels import KINDS
from traywarden.domain.notice_words import rule_words
from traywarden.domain.stage import Stage
from traywarden.domain.units import Display
from traywarden.errors import UsageError
from traywarden.services.hushing import rule_names
from traywarden.services.level_names import idle, key_for
from traywarden.services.questions.ground import Ground
from traywarden.settings import (
    BY_KEY,
    TABLE,
    Setting,
    Settings,
    change_settings,
    general_key,
    load,
    take_back,
    whose,
)
from traywarden.store.crops import crop_name, load_crops
from traywarden.web.face import FROM_NOW, Face
from traywarden.web.setting_units import bounds_words, scale_of
from traywarden.web.writing import Written

DELAYS = {"open_delay": "how long before it is told", "close_delay": "how long until it counts as over"}


@dataclass(frozen=True, slots=True)
class Given:
    """One level or delay as it holds for one crop, mix or stage. `idle`: why nothing goes by it."""

    key: str
    rule: str
    says: str
    whom: str
    value: str
    unit: str
    idle: str


@dataclass(frozen=True, slots=True)
class Choice:
    """What can be chosen in a form: its value there, and in words."""

    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Giving:
    """What is given, and what can be: settings by rule, and for whom by crop, mix and stage."""

    given: tuple[Given, ...]
    settings: tuple[tuple[str, tuple[Choice, ...]], ...]
    whom: tuple[tuple[str, tuple[Choice, ...]], ...]


def giving(on: Ground, written: Settings) -> Giving:
    why = dict(idle(on.tx, written))
    crops = sorted(load_crops().values(), key=lambda crop: crop.name)
    return Giving(
        tuple(_given(key, written, on.display, why.get(key, "")) for key in sorted(written.overrides)),
        tuple(
            (rule_words(rule), tuple(_choices(rule, on.display))) for rule in rule_names() if _varying(rule)
        ),
        (
            ("One stage", tuple(Choice(f"stage {s.value}", s.words) for s in Stage)),
            ("One mix", tuple(Choice(f"mix {mix.name}", mix.name) for mix in on.mixes.values())),
            ("One crop", tuple(Choice(f"crop {crop.key}", crop.name) for crop in crops)),
        ),
    )


def _varying(rule: str) -> list[Setting]:
    return [row for row in TABLE if row.varies and row.key.partition(".")[0] == rule]


def _choices(rule: str, display: Display) -> Iterator[Choice]:
    for row in _varying(rule):
        name = row.key.partition(".")[2]
        for unit in ("_s", "_c"):
            name = name.removesuffix(unit)
        words = DELAYS.get(name, name.replace("_", " "))
        yield Choice(row.key, f"{words} [{scale_of(row, display).unit}]")


def _given(key: str, written: Settings, display: Display, why: str) -> Given:
    row = BY_KEY[general_key(key) or key]
    rule, kind, which, _ = whose(key)
    scale = scale_of(row, display)
    named = {"crop": crop_name(which), "stage": which.replace("_", " ")}.get(kind, which)
    return Given(
        key,
        rule_words(rule),
        row.says,
        f"{kind} {named}",
        scale.shown(written.overrides[key]),
        scale.unit,
        why,
    )


def give(face: Face, written: Written) -> str:
    """Give a level or delay for one crop, mix or stage."""
    before = load(face.settings.home)
    display = Display(before["display.temperature"], before["display.length"])
    kind, _, name = written.text("whom").partition(" ")
    if kind not in KINDS or not name:
        raise UsageError("Choose the crop, the mix or the stage that it is for.")
    with face.asking() as on:
        key = key_for(on.tx, written.text("setting"), **{kind: name})
    row = BY_KEY[general_key(key) or key]
    scale, said = scale_of(row, display), written.number("value")
    if said is None:
        raise UsageError(f"{row.says.rstrip('.')}: give {bounds_words(row, scale)}.")
    value = scale.kept(said)
    if row.check is not None and row.check(value):
        bounds = bounds_words(row, scale)
        raise UsageError(f"{row.says.rstrip('.')}: {said:g} {scale.unit} cannot be; give {bounds}.")
    face.take(change_settings(face.settings.home, {key: value}))
    return f"Kept for {kind} {name}: {row.says.rstrip('.')}. {FROM_NOW}"


def take_out(face: Face, written: Written) -> str:
    """Take back what was given for one crop, mix or stage."""
    key = written.text("key")
    if key not in load(face.settings.home).overrides:
        raise UsageError("That is not given any more.")
    face.take(take_back(face.settings.home, key))
    return f"Taken out of settings.toml: {key}. {FROM_NOW}"
