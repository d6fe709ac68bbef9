"""What each table of a download holds: columns with type, unit and meaning."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from traywarden.domain.readings import QUANTITIES

Cell = Any
Rows = Iterable[Sequence[Cell]]
INSTANT_FORMAT = "%Y-%m-%dT%H:%M:%S.%fZ"
UNITS = {"Cel": "°C", "V": "V", "/": "m³/m³", "%RH": "%", "mm": "mm"}
"""Units on the wire (RFC 8428), and as people write them."""


@dataclass(frozen=True, slots=True)
class Column:
    """`kind` is a type of Table Schema: string, integer, number, boolean, date, datetime or object."""

    name: str
    kind: str
    means: str
    unit: str = ""

    def described(self) -> dict[str, Any]:
        found: dict[str, Any] = {"name": self.name, "type": self.kind, "description": self.means}
        if self.kind == "datetime":
            found["format"] = INSTANT_FORMAT
        if self.unit:
            found["unit"] = self.unit
        return found


@dataclass(frozen=True, slots=True)
class Table:
    """`path` inside the package; `key` are the columns that tell rows apart."""

    name: str
    path: str
    title: str
    means: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()

    def described(self) -> dict[str, Any]:
        schema: dict[str, Any] = {
            "fields": [column.described() for column in self.columns],
            "missingValues": [""],
        }
        if self.key:
            schema["primaryKey"] = list(self.key)
        return {
            "name": self.name,
            "path": self.path,
            "title": self.title,
            "description": self.means,
            "profile": "tabular-data-resource",
            "format": "csv",
            "mediatype": "text/csv",
            "encoding": "utf-8",
            "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "header": True},
            "schema": schema,
        }


def _text(name: str, means: str) -> Column:
    return Column(name, "string", means)


def _number(name: str, means: str, unit: str = "") -> Column:
    return Column(name, "number", means, unit)


_NOTE = _text("note", "What the grower wrote beside it.")
VALUES = tuple(
    _number(q.column, f"{q.says[:1].upper()}{q.says[1:]}, as measured.", UNITS[q.wire_unit])
    for q in QUANTITIES
)
READING = (
    _text("head", "Probe and number of the head; head 0 is the probe's own air sensor."),
    Column("time", "datetime", "When it was measured, UTC."),
    Column("received", "datetime", "When the host had it, UTC."),
    Column("boot", "integer", "Start of the probe; -1 and -2: known by its time (no sequence; imported)."),
    Column("sequence", "integer", "Number of the reading within that start."),
    *VALUES,
    _text(
        "flags", "What is wrong with a value, as “column: fault”, parted by “; ”. Nothing is left out for it."
    ),
    Column("extra", "object", "What else the sensor sent, by its name on the wire."),
)
GARDEN = Table(
    "garden",
    "garden.csv",
    "Garden",
    "One row: the garden itself.",
    (
        _text("name", "Name of the garden."),
        _text("time_zone", "Its time zone, by which days begin and end."),
        _number("latitude_deg", "Latitude, north positive.", "°"),
        _number("longitude_deg", "Longitude, east positive.", "°"),
    ),
    ("name",),
)
PLACES = Table(
    "places",
    "places.csv",
    "Places",
    "Spots where trays stand.",
    (
        _text("place", "Name of the place."),
        _text("kind", "Open bench, cold frame, greenhouse, under cover, dappled shade or open ground."),
        Column("covered", "boolean", "Whether rain is kept off."),
        _NOTE,
    ),
    ("place",),
)
MIXES = Table(
    "mixes",
    "mixes.csv",
    "Mixes",
    "Potting mixes.",
    (
        _text("mix", "Name of the mix."),
        Column("parts", "object", "Recipe, in parts by volume."),
        _number("container_capacity_m3_m3", "Water held after a thorough watering has drained.", "m³/m³"),
        _number("dry_line_m3_m3", "Water at which a tray must be watered.", "m³/m³"),
        _NOTE,
    ),
    ("mix",),
)
TRAYS = Table(
    "trays",
    "trays.csv",
    "Trays",
    "Trays of cells or pots; the journal says where they stood, in which mix, and what was sown.",
    (
        _text("tray", "Name of the tray."),
        Column("cells", "integer", "Cells or pots."),
        _number("litres", "Mix in the whole tray.", "l"),
        _NOTE,
    ),
    ("tray",),
)
LOTS = Table(
    "lots",
    "lots.csv",
    "Lots of seed",
    "Packets or harvests of seed.",
    (
        _text("lot", "Name of the lot."),
        _text("crop", "Key of the crop."),
        _number("germination", "Share of seeds that come up, 0 to 1."),
        Column("tested", "boolean", "Whether that was tested, not taken from the packet."),
        Column("seeds", "integer", "Seeds when it was new."),
        _number("price", "What it cost, in the grower's own money."),
        _NOTE,
    ),
    ("lot",),
)
HEADS = Table(
    "heads",
    "heads.csv",
    "Heads",
    "Sensing positions, and the probe each belongs to.",
    (
        _text("head", "Probe and number of the head."),
        _text("probe", "Name of the probe."),
        Column("number", "integer", "Number of the head at its probe."),
        Column("first_seen", "datetime", "When the host first heard of the probe, UTC."),
        Column("last_seen", "datetime", "When it last did, UTC."),
    ),
    ("head",),
)
JOURNAL = Table(
    "journal",
    "journal.csv",
    "Journal",
    "What the grower did and saw, all of it: entries that were replaced or taken back too.",
    (
        Column("entry", "integer", "Number of the entry."),
        Column("time", "datetime", "When it happened, UTC."),
        Column("written", "datetime", "When it was written down, UTC."),
        _text("kind", "What it tells of: sowed, watered, moved, emerged …"),
        _text("state", "“holds”, “replaced by 7” or “undone by 7”."),
        _text("tray", "The tray it is about."),
        _text("place", "The place it is about, or to which a tray was moved."),
        _text("mix", "The mix it is about."),
        _text("head", "The head it is about."),
        _text("lot", "The lot it is about."),
        Column("data", "object", "What else it says, by kind; units stand in the names."),
        _NOTE,
        Column("replaces", "integer", "The entry that it replaces or takes back."),
    ),
    ("entry",),
)
_COVERAGE = _number(
    "coverage", "Part of the day's hours with a reading, 0 to 1; of too few the rest is blank."
)
PLACE_DAYS = Table(
    "days-of-places",
    "days-of-places.csv",
    "Days of places",
    "Air and soil of each place by garden day, from readings without a fault that leaves them out.",
    (
        _text("place", "Name of the place."),
        Column("date", "date", "Day in the garden's time zone."),
        _text("measured", "“air”, or “soil” of the trays that stood there."),
        _number("low_c", "Lowest reading.", "°C"),
        _number("mean_c", "Mean of the hours.", "°C"),
        _number("high_c", "Highest reading.", "°C"),
        _number("vpd_kpa", "Mean vapour-pressure deficit of the air: its drying power.", "kPa"),
        _COVERAGE,
    ),
    ("place", "date", "measured"),
)
TRAY_DAYS = Table(
    "days-of-trays",
    "days-of-trays.csv",
    "Days of trays",
    "Soil of each tray by garden day, calibrated as of now.",
    (
        _text("tray", "Name of the tray."),
        Column("date", "date", "Day in the garden's time zone."),
        _number("low_c", "Lowest soil temperature.", "°C"),
        _number("mean_c", "Mean soil temperature of the hours.", "°C"),
        _number("high_c", "Highest soil temperature.", "°C"),
        _number("moisture_m3_m3", "Mean moisture of the hours.", "m³/m³"),
        _COVERAGE,
        _number("moisture_coverage", "The same of its moisture, 0 to 1."),
    ),
    ("tray", "date"),
)


def readings_of(head_id: int, label: str) -> Table:
    """The table of one head's readings; its path holds no name that somebody chose."""
    return Table(
        f"readings-{head_id}",
        f"readings/head-{head_id}.csv",
        f"Readings of {label}",
        "Every reading as it came, oldest first, whatever its quality.",
        READING,
        ("time", "boot", "sequence"),
    )
