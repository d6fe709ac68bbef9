"""Correcting an entry from words: what each kind of entry can change, and names turned into what it holds."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from traywarden.domain.journal import Entry, Kind
from traywarden.errors import UsageError
from traywarden.services.journal import NUMBERS, correct, correctable_data
from traywarden.services.journal_words import Names
from traywarden.services.moments import moment_words, parse_moment
from traywarden.store import garden as garden_store
from traywarden.store.crops import crop_name, crop_named
from traywarden.store.store import Tx

LEARNED, LEFT_OUT = "teaches", "left out"
CHOICES: Mapping[str, tuple[str, ...]] = {"how": ("", "above", "below"), "learn": (LEARNED, LEFT_OUT)}
NEEDED: Mapping[Kind, tuple[str, ...]] = {
    Kind.WEIGHED: ("grams",),
    Kind.TESTED: ("seeds", "sprouted", "lot"),
    Kind.PACKED: ("lot",),
    Kind.CAPACITY_ACCEPTED: ("container_capacity_m3_m3",),
}
"""Without these an entry of that kind says nothing."""
NOT_ASKED = ("waterings", "volts")
"""Data that came with how the entry was made: they belong together with what is not shown."""


@dataclass(frozen=True, slots=True)
class Field:
    """One thing an entry can change: its name, and what it says now, in words that `corrected` reads back.

    `kind` is “number”, “choice”, “text”, or what is named: “tray”, “place”, “mix”, “crop”, “lot”.
    """

    name: str
    kind: str
    value: str
    choices: tuple[str, ...] = ()


def look_up(
    tx: Tx,
    changes: dict[str, Any],
    data: dict[str, Any],
    *,
    tray: str = "",
    place: str = "",
    mix: str = "",
    crop: str = "",
    lot: str = "",
) -> None:
    """Turn the names given into the ids and keys an entry holds."""
    if tray:
        changes["tray_id"] = garden_store.tray_named(tx, tray).tray_id
    if place:
        changes["place_id"] = garden_store.place_named(tx, place).place_id
    if mix:
        changes["mix_id"] = garden_store.mix_named(tx, mix).mix_id
    if crop:
        data["crop"], changes["lot_id"] = crop_named(crop).key, None
    if lot:
        of = garden_store.lot_named(tx, lot)
        if crop and data["crop"] != of.crop:
            raise UsageError(f"Lot “{of.name}” is {of.crop}, not {data['crop']}; leave --crop out.")
        data["crop"], changes["lot_id"] = of.crop, of.lot_id


def fields_of(tx: Tx, entry: Entry, zone: ZoneInfo) -> list[Field]:
    """What of this entry can be corrected, in the order in which a form asks it."""
    names = Names(tx)
    found = [Field("at", "text", moment_words(entry.at_ms, zone))]
    for name, ids, known in (
        ("tray", entry.tray_id, names.trays),
        ("place", entry.place_id, names.places),
        ("mix", entry.mix_id, names.mixes),
    ):
        if ids is not None:
            found.append(Field(name, name, known.get(ids, "")))
    numbers = NUMBERS.get(entry.kind, {})
    for name in correctable_data(entry.kind):
        value = entry.data.get(name)
        if name in NOT_ASKED:
            continue
        if name in numbers:
            found.append(Field(name, "number", "" if value is None else f"{value:g}"))
        elif name == "crop":
            found.append(Field(name, "crop", crop_name(str(value)) if value else ""))
        elif name == "learn":
            found.append(Field(name, "choice", LEFT_OUT if value is False else LEARNED, CHOICES[name]))
        else:
            kind = "choice" if name in CHOICES else "text"
            found.append(Field(name, kind, str(value or ""), CHOICES.get(name, ())))
    if entry.lot_id is not None or entry.kind is Kind.SOWED:
        found.append(Field("lot", "lot", names.lots.get(entry.lot_id or -1, "")))
    return [*found, Field("note", "text", entry.note)]


def corrected(tx: Tx, entry: Entry, said: Mapping[str, str], now_ms: int, zone: ZoneInfo) -> Entry:
    """Correct an entry by a form: what is said otherwise than `fields_of` shows it is changed.

    Raises UsageError (nothing changed, a value that cannot be), UnknownNameError.
    """
    shown = {field.name: field for field in fields_of(tx, entry, zone)}
    new = {
        name: words.strip()
        for name, words in said.items()
        if name in shown and words.strip() != shown[name].value.strip()
    }
    for name in NEEDED.get(entry.kind, ()):
        if new.get(name, "said") == "":
            words = name.removesuffix("_m3_m3").replace("_", " ")
            raise UsageError(f"Entry {entry.entry_id} ({entry.kind}) needs its {words}; or take it back.")
    changes: dict[str, Any] = {}
    data: dict[str, Any] = {}
    if new.get("at"):
        changes["at_ms"] = parse_moment(new["at"], now_ms=now_ms, zone=zone).at_ms
    if "note" in new:
        changes["note"] = new["note"]
    if "lot" in new and not new["lot"]:
        changes["lot_id"] = None
    named = ("tray", "place", "mix", "crop", "lot")
    look_up(tx, changes, data, **{name: new[name] for name in named if name in new})
    for name in new.keys() - {"at", "note", *named}:
        data[name] = _value(shown[name], new[name])
    return correct(tx, entry.entry_id, now_ms, data, **changes)


def _value(field: Field, words: str) -> Any:
    """What the entry holds for these words; None takes the value away."""
    if not words:
        return None
    if field.kind == "number":
        return number_from_text(words, field.name)
    if field.kind == "choice" and words not in field.choices:
        raise UsageError(f"“{words}” is not one of {', '.join(filter(None, field.choices))}.")
    return words == LEARNED if field.name == "learn" else words


def number_from_text(words: str, name: str) -> float:
    """A number; a comma serves as a decimal point. Raises UsageError where it is none."""
    try:
        value = float(words.replace(",", "."))
    except ValueError:
        raise UsageError(
            f"“{words}” is not a number ({name.replace('_', ' ')}); write it like 2.5."
        ) from None
    return int(value) if value.is_integer() else value
