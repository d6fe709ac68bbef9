"""The garden and its nouns: places, mixes, trays and lots of seed. Names are unique per noun."""

import math
import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar
from zoneinfo import available_timezones

from sqlalchemy import Row, Table, insert, select, update

from traywarden.domain.garden import Garden, Lot, Mix, Place, PlaceKind, Tray
from traywarden.errors import UnknownNameError, UsageError, asked, did_you_mean
from traywarden.store import schema
from traywarden.store.store import Tx

LONGEST_NAME = 80
CONTAINER_CAPACITY_M3_M3 = 0.55
"""Default: middle of NCSU’s 45–65 % by volume for nursery media (from memory, unverified)."""
DRY_LINE_OF_CAPACITY = 0.5
"""Default dry line as a part of container capacity (common practice, no source)."""

Noun = TypeVar("Noun", Place, Mix, Tray, Lot)


def clean_name(noun: str, name: str) -> str:
    """The name without surrounding blanks. Raises UsageError where it cannot be a name."""
    name = unicodedata.normalize("NFC", name).strip()
    if not name:
        raise UsageError(f"A {noun} needs a name; give at least one character.")
    if len(name) > LONGEST_NAME:
        raise UsageError(
            f"The name of the {noun}, “{name[:20]}…”, has {len(name)} characters; use at most {LONGEST_NAME}."
        )
    if any(unicodedata.category(c) in {"Cc", "Cs", "Zl", "Zp"} for c in name):
        raise UsageError(
            f"The name of the {noun}, {name!a}, holds a control character; use letters and blanks."
        )
    return name


def slug_from_name(name: str) -> str:
    """The name as one level of a topic.

    >>> slug_from_name("Anna’s Gärten, north")
    'annas-garten-north'
    """
    letters = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", letters.replace("'", "")).strip("-")[:63].strip("-") or "garden"


def the_garden(tx: Tx) -> Garden | None:
    """The garden of this store; None until one has been set."""
    row = tx.execute(select(schema.garden).order_by(schema.garden.c.garden_id).limit(1)).first()
    return _garden(row) if row else None


def prove_writable(tx: Tx) -> None:
    """Write the garden's row back as it is: StoreFullError now rather than with the first reading.

    On a read-only disk SQLite begins a transaction gladly, and refuses only to write in it.
    """
    tx.execute(update(schema.garden).values(created_ms=schema.garden.c.created_ms))


def set_garden(
    tx: Tx,
    name: str,
    time_zone: str,
    latitude_deg: float | None = None,
    longitude_deg: float | None = None,
    *,
    now_ms: int,
) -> Garden:
    """Make the garden, or change it. A change keeps the slug (probes send to it) and a position not given."""
    name = clean_name("garden", name)
    zones = available_timezones()
    if time_zone not in zones:
        raise UsageError(
            asked(f"There is no time zone “{time_zone}”{near}.")
            if (near := did_you_mean(time_zone, zones))
            else f"There is no time zone “{time_zone}”; give a name such as Europe/Lisbon."
        )
    _check_number("latitude", latitude_deg, -90, 90, "°")
    _check_number("longitude", longitude_deg, -180, 180, "°")
    values = {"name": name, "time_zone": time_zone}
    position = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    table = schema.garden
    old = the_garden(tx)
    if old is None:
        tx.execute(insert(table).values(**values, **position, slug=slug_from_name(name), created_ms=now_ms))
    else:
        given = {key: value for key, value in position.items() if value is not None}
        tx.execute(update(table).where(table.c.garden_id == old.garden_id).values(**values, **given))
    made = the_garden(tx)
    assert made is not None
    return made


def add_place(tx: Tx, name: str, kind: PlaceKind | str, covered: bool | None = None, note: str = "") -> Place:
    """A spot where trays stand. `covered` (rain kept off) follows from the kind unless given."""
    try:
        kind = PlaceKind(kind)
    except ValueError:
        raise UsageError(
            asked(f"There is no kind of place “{kind}”{did_you_mean(kind, list(PlaceKind))}.")
        ) from None
    sheltered = kind.covered if covered is None else covered
    place_id = _add(tx, schema.place, "place", name, kind=kind.value, covered=sheltered, note=note)
    return next(p for p in places(tx) if p.place_id == place_id)


def places(tx: Tx) -> list[Place]:
    rows = tx.execute(select(schema.place).order_by(schema.place.c.place_id))
    return [Place(r.place_id, r.name, PlaceKind(r.kind), r.covered, r.note) for r in rows]


def place_named(tx: Tx, name: str) -> Place:
    return _named("place", name, places(tx))


def add_mix(
    tx: Tx,
    name: str,
    parts: Mapping[str, float],
    container_capacity_m3_m3: float = CONTAINER_CAPACITY_M3_M3,
    dry_line_m3_m3: float | None = None,
    note: str = "",
) -> Mix:
    """A potting mix: parts by volume, container capacity [m³/m³], dry line [m³/m³; default half of it]."""
    dry_line = container_capacity_m3_m3 * DRY_LINE_OF_CAPACITY if dry_line_m3_m3 is None else dry_line_m3_m3
    values = _mix_values(parts, container_capacity_m3_m3, dry_line)
    mix_id = _add(tx, schema.mix, "mix", name, **values, note=note)
    return next(m for m in mixes(tx) if m.mix_id == mix_id)


def mixes(tx: Tx) -> list[Mix]:
    rows = tx.execute(select(schema.mix).order_by(schema.mix.c.mix_id))
    return [
        Mix(r.mix_id, r.name, r.parts, r.container_capacity_m3_m3, r.dry_line_m3_m3, r.note) for r in rows
    ]


def mix_named(tx: Tx, name: str) -> Mix:
    return _named("mix", name, mixes(tx))


def change_mix(
    tx: Tx,
    name: str,
    *,
    parts: Mapping[str, float] | None = None,
    container_capacity_m3_m3: float | None = None,
    dry_line_m3_m3: float | None = None,
    note: str | None = None,
) -> Mix:
    """Change what is given of a mix; the rest stays."""
    old = mix_named(tx, name)
    values = _mix_values(
        old.parts if parts is None else parts,
        old.container_capacity_m3_m3 if container_capacity_m3_m3 is None else container_capacity_m3_m3,
        old.dry_line_m3_m3 if dry_line_m3_m3 is None else dry_line_m3_m3,
    )
    values["note"] = old.note if note is None else note
    tx.execute(update(schema.mix).where(schema.mix.c.mix_id == old.mix_id).values(**values))
    return mix_named(tx, old.name)


def add_tray(
    tx: Tx, name: str, cells: int | None = None, litres: float | None = None, note: str = ""
) -> Tray:
    """A tray of cells or pots; `litres` of mix in the whole tray, where known."""
    _check_number("number of cells", cells, 1, 100_000, "")
    _check_number("volume of mix", litres, 0.001, 10_000, " L")
    tray_id = _add(tx, schema.tray, "tray", name, cells=cells, litres=litres, note=note)
    return next(t for t in trays(tx) if t.tray_id == tray_id)


def trays(tx: Tx) -> list[Tray]:
    rows = tx.execute(select(schema.tray).order_by(schema.tray.c.tray_id))
    return [Tray(r.tray_id, r.name, r.cells, r.litres, r.note) for r in rows]


def tray_named(tx: Tx, name: str) -> Tray:
    return _named("tray", name, trays(tx))


def add_lot(
    tx: Tx,
    name: str,
    crop: str,
    germination: float | None = None,
    tested: bool = False,
    seeds: int | None = None,
    price: float | None = None,
    note: str = "",
) -> Lot:
    """A packet or harvest of seed of a crop (its key); germination is a fraction 0…1."""
    _check_number("germination", germination, 0, 1, " (a fraction)")
    _check_number("number of seeds", seeds, 1, 1_000_000_000, "")
    _check_number("price", price, 0, 1e9, "")
    lot_id = _add(
        tx,
        schema.lot,
        "lot",
        name,
        crop=crop,
        germination=germination,
        tested=tested,
        seeds=seeds,
        price=price,
        note=note,
    )
    return next(x for x in lots(tx) if x.lot_id == lot_id)


def lots(tx: Tx) -> list[Lot]:
    rows = tx.execute(select(schema.lot).order_by(schema.lot.c.lot_id))
    return [Lot(r.lot_id, r.name, r.crop, r.germination, r.tested, r.seeds, r.price, r.note) for r in rows]


def lot_named(tx: Tx, name: str) -> Lot:
    return _named("lot", name, lots(tx))


def _garden(row: Row[Any]) -> Garden:
    return Garden(row.garden_id, row.name, row.slug, row.time_zone, row.latitude_deg, row.longitude_deg)


def _named(noun: str, name: str, known: Iterable[Noun]) -> Noun:
    """The one of that name; capitals do not matter, as no two names differ only in them."""
    found = {each.name.casefold(): each for each in known}
    wanted = unicodedata.normalize("NFC", name).strip().casefold()
    if wanted not in found:
        raise UnknownNameError(noun, name, [each.name for each in found.values()])
    return found[wanted]


def _add(tx: Tx, table: Table, noun: str, name: str, **values: Any) -> int:
    name = clean_name(noun, name)
    for (taken,) in tx.execute(select(table.c.name)):
        if taken.casefold() == name.casefold():
            raise UsageError(f"There is already a {noun} called “{taken}”; choose another name.")
    key = tx.execute(insert(table).values(name=name, **values)).inserted_primary_key
    assert key is not None
    return int(key[0])


def _mix_values(parts: Mapping[str, float], capacity: float, dry_line: float) -> dict[str, Any]:
    for part, share in parts.items():
        if not (part.strip() and math.isfinite(share) and share > 0):
            raise UsageError(f"Part “{part}” of the mix has a share of {share:g}; give a number above 0.")
    if not (math.isfinite(capacity) and 0 < capacity < 1):
        raise UsageError(
            f"A container capacity of {capacity:g} m³/m³ cannot be; "
            "give a fraction between 0 and 1 (55 % is 0.55)."
        )
    if not 0 < dry_line < capacity:
        raise UsageError(
            f"A dry line of {dry_line:g} m³/m³ cannot be; it lies between 0 "
            f"and the container capacity of {capacity:g} m³/m³."
        )
    return {
        "parts": {part.strip(): float(share) for part, share in parts.items()},
        "container_capacity_m3_m3": float(capacity),
        "dry_line_m3_m3": float(dry_line),
    }


def _check_number(what: str, value: float | None, low: float, high: float, unit: str) -> None:
    if value is not None and not low <= value <= high:
        raise UsageError(f"A {what} of {value:g} cannot be; give {low:g} to {high:g}{unit}.")
