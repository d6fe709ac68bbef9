"""Which columns of a file hold which quantity, judged by their names, their units and their numbers."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from statistics import median

from traywarden.services.cells import CellReader
from traywarden.services.column_units import UNITS, scale_for, unit_named
from traywarden.services.mapping import ColumnMap
from traywarden.services.mapping_file import DEFAULT_MISSING

_BRACKETED = re.compile(r"[(\[]([^)\]]*)[)\]]")
_SUFFIXES = (
    ("m3_m3", "m³/m³"),
    ("degc", "°C"),
    ("degf", "°F"),
    ("pct", "%"),
    ("percent", "%"),
    ("inch", "in"),
    ("inches", "in"),
    ("mm", "mm"),
    ("mv", "mV"),
    ("volts", "V"),
    ("in", "in"),
    ("c", "°C"),
    ("f", "°F"),
    ("v", "V"),
)
# In this order: the first pattern that a name's words meet decides. Words are lower case, parted by spaces.
_QUANTITIES: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("battery_v", re.compile(r"\b(v ?batt?|batt\w*|bat)\b")),
    ("rh_pct", re.compile(r"\b(rh\w*|(rel\w* )?humid\w*|feuchte|umidade|humidade)\b")),
    ("rain_mm", re.compile(r"\b(rain\w*|precip\w*|prcp|ppt|chuva|niederschlag)\b")),
    (
        "moisture_m3_m3",
        re.compile(r"\b(vwc\w*|sms|((soil|mix|substrate) )?moist\w*|(vol\w* )?water content|theta|swc)\b"),
    ),
    (
        "soil_temp_c",
        re.compile(r"\b(soil ?t|t ?soil|sto|tsubstrate|(soil|mix|substrate|compost|root zone) ?temp\w*)\b"),
    ),
    ("air_temp_c", re.compile(r"\b(temp\w*|t ?air\w*|air ?t|t ?out|t ?in|tobs|ta|tair\w*|air ?temp\w*)\b")),
)
_NOT_THESE = re.compile(r"\b(flag|qf|quality|dew|wet bulb|setpoint|std|stdev|count|def|id|wind|solar)\b")
_DEFAULT_UNIT = {"rh_pct": "%", "battery_v": "V", "rain_mm": "mm", "soil_temp_c": "°C", "air_temp_c": "°C"}
_OF_SOIL = ("soil_temp_c", "moisture_m3_m3", "moisture_v")


@dataclass(frozen=True, slots=True)
class _Candidate:
    place: int
    name: str
    quantity: str
    unit: str
    sensor: str
    """What tells this sensor from its like: a depth or a number in the name."""


def guess_columns(
    header: Sequence[str], rows: Sequence[Sequence[str]], stamp_places: Sequence[int], decimal: str
) -> tuple[list[ColumnMap], list[str]]:
    """Columns that can be made out, and remarks on what was assumed or left out."""
    notes: list[str] = []
    candidates: list[_Candidate] = []
    passed: list[str] = []
    for place, name in enumerate(header):
        if place in stamp_places:
            continue
        cells = [row[place] for row in rows]
        candidate = _candidate(place, name, header, cells, decimal, notes)
        if candidate is None:
            passed.append(name)
        else:
            candidates.append(candidate)
    heads = _heads(candidates)
    if passed:
        notes.append("Not taken, as their names do not say what they measure: " + ", ".join(passed))
    return [ColumnMap(c.name, heads[c], c.quantity, c.unit) for c in candidates], notes


def spread(columns: Sequence[ColumnMap], group: str, members: Sequence[str]) -> list[ColumnMap]:
    """Columns of a long file, once for each member (plot, sensor, …): every member gets heads of its own."""
    own = sorted({column.head for column in columns})
    heads = {(member, head): n for n, (member, head) in enumerate(product(members, own), 1)}
    return [
        replace(column, head=heads[member, column.head], where=((group, (member,)),))
        for member in members
        for column in columns
    ]


def words_of(name: str) -> str:
    """A header's words: “SoilT_F” → “soil t f”, “Air Temp. (°C)” → “air temp”."""
    bare = _BRACKETED.sub(" ", name)
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", bare)
    return " ".join(re.findall(r"[^\W_]+", parted.lower()))


def _candidate(
    place: int, name: str, header: Sequence[str], cells: Sequence[str], decimal: str, notes: list[str]
) -> _Candidate | None:
    words = words_of(name)
    quantity = next((q for q, pattern in _QUANTITIES if pattern.search(words)), None)
    if quantity is None or _NOT_THESE.search(words):
        return None
    numbers, _ = CellReader(decimal, "", DEFAULT_MISSING).read(cells)
    known = numbers[numbers > -999].tolist()
    if not known:
        return None
    unit = _unit_in(name)
    if quantity == "moisture_m3_m3" and unit in ("V", "mV"):
        quantity = "moisture_v"
    if unit is None or isinstance(scale_for(quantity, unit), str):
        unit = _unit_by_size(quantity, known)
        notes.append(f"“{name}” says no unit that fits; taken as {unit}")
    title = name if list(header).count(name) == 1 else f"#{place + 1}"
    sensor = " ".join(re.findall(r"\d+(?:cm|mm|in)?|second|\b[a-d]\b", _without_unit(words)))
    return _Candidate(place, title, quantity, unit, sensor)


def _unit_in(name: str) -> str | None:
    for inside in _BRACKETED.findall(name):
        if (unit := unit_named(inside)) is not None:
            return unit
    for sign, unit in (("°C", "°C"), ("°F", "°F"), ("m³/m³", "m³/m³"), ("%", "%")):
        if sign in name:
            return unit
    lowered = name.lower()
    return next((unit for end, unit in _SUFFIXES if re.search(rf"[_ .]{end}$", lowered)), None)


def _without_unit(words: str) -> str:
    return re.sub(r"\b(m3 m3|c|f|v|mv|in|mm|pct)$", "", words)


def _unit_by_size(quantity: str, known: Sequence[float]) -> str:
    """The unit a quantity most likely has when its name says none."""
    if quantity == "moisture_m3_m3":
        return "m³/m³" if max(known) <= 1.0 else "volume %"
    if quantity == "moisture_v":
        return "V" if max(known) <= 6.0 else "mV"
    if quantity in ("soil_temp_c", "air_temp_c") and median(known) > 45:
        return "°F"
    return _DEFAULT_UNIT.get(quantity, next(iter(UNITS[quantity])))


def _heads(candidates: Sequence[_Candidate]) -> dict[_Candidate, int]:
    """Soil sensors share a head where their names share a depth or number; the probe's own are head 0."""
    soil = [c for c in candidates if c.quantity in _OF_SOIL]
    by_quantity: dict[str, list[str]] = {}
    for candidate in soil:
        by_quantity.setdefault(candidate.quantity, []).append(candidate.sensor)
    distinct = all(len(set(sensors)) == len(sensors) for sensors in by_quantity.values())
    shared = len({s for sensors in by_quantity.values() for s in sensors}) < len(soil)
    heads: dict[_Candidate, int] = {}
    if distinct and shared:
        numbers: dict[str, int] = {}
        for candidate in soil:
            heads[candidate] = numbers.setdefault(candidate.sensor, len(numbers) + 1)
    else:
        counts: dict[str, int] = {}
        for candidate in soil:
            counts[candidate.quantity] = counts.get(candidate.quantity, 0) + 1
            heads[candidate] = counts[candidate.quantity]
    taken = {(head, c.quantity) for c, head in heads.items()}
    next_free = max(heads.values(), default=0) + 1
    seconds: dict[str, int] = {}
    for candidate in candidates:
        if candidate in heads:
            continue
        head = 0
        if (0, candidate.quantity) in taken:
            # A second air sensor stands for itself, as a head of its own.
            if candidate.sensor not in seconds:
                seconds[candidate.sensor] = next_free
                next_free += 1
            head = seconds[candidate.sensor]
            while (head, candidate.quantity) in taken:
                head = next_free
                next_free += 1
        heads[candidate] = head
        taken.add((head, candidate.quantity))
    return heads
