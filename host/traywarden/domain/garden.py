"""The garden's nouns as the store hands them out."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class PlaceKind(StrEnum):
    OPEN_BENCH = "open bench"
    COLD_FRAME = "cold frame"
    GREENHOUSE = "greenhouse"
    UNDER_COVER = "under cover"
    DAPPLED_SHADE = "dappled shade"
    OPEN_GROUND = "open ground"

    @property
    def covered(self) -> bool:
        """Whether rain is kept off trays there, unless the grower says otherwise."""
        return self in (PlaceKind.COLD_FRAME, PlaceKind.GREENHOUSE, PlaceKind.UNDER_COVER)


@dataclass(frozen=True, slots=True)
class Garden:
    garden_id: int
    name: str
    slug: str
    time_zone: str
    latitude_deg: float | None = None
    longitude_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Place:
    place_id: int
    name: str
    kind: PlaceKind
    covered: bool
    note: str = ""


@dataclass(frozen=True, slots=True)
class Mix:
    """A potting mix. Water contents are volume fractions (m³/m³)."""

    mix_id: int
    name: str
    parts: Mapping[str, float]
    container_capacity_m3_m3: float
    dry_line_m3_m3: float
    note: str = ""


def parts_words(parts: Mapping[str, float]) -> str:
    """A recipe in parts by volume.

    >>> parts_words({"coir": 2.0, "perlite": 1.0})
    '2 coir, 1 perlite'
    """
    return ", ".join(f"{share:g} {name}" for name, share in parts.items())


@dataclass(frozen=True, slots=True)
class Tray:
    tray_id: int
    name: str
    cells: int | None = None
    litres: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Lot:
    lot_id: int
    name: str
    crop: str
    germination: float | None = None
    tested: bool = False
    seeds: int | None = None
    price: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Probe:
    probe_id: int
    name: str
    first_seen_ms: int
    last_seen_ms: int
    state: Mapping[str, object] = field(default_factory=dict)
    note: str = ""

    @property
    def called(self) -> str:
        """What the grower calls it: what was noted of it, else the name by which it reports."""
        return self.note or self.name


@dataclass(frozen=True, slots=True)
class Head:
    head_id: int
    probe: str
    number: int

    @property
    def label(self) -> str:
        return f"{self.probe}/{self.number}"
