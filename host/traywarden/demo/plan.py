"""The demo garden as it was made up: nothing here is anybody's garden."""

from dataclasses import dataclass

from traywarden.demo.trays import Substrate

GARDEN = "Heron Lane"
TIME_ZONE = "Europe/Lisbon"
LATITUDE_DEG, LONGITUDE_DEG = 39.5, -8.7


@dataclass(frozen=True, slots=True)
class PlannedMix:
    name: str
    parts: dict[str, float]
    dry_line_m3_m3: float
    substrate: Substrate
    note: str


@dataclass(frozen=True, slots=True)
class PlannedLot:
    """`warmth_c_d` above `base_c` brings half of this lot up in the play [°C·days]; chosen to look real."""

    name: str
    crop: str
    germination: float
    seeds: int
    price: float
    base_c: float
    warmth_c_d: float


@dataclass(frozen=True, slots=True)
class PlannedTray:
    """`volts`: what its moisture sensor shows in dry mix and at container capacity."""

    name: str
    place: str
    mix: str
    lot: str
    cells: int
    litres: float
    probe: str
    head: int
    start_fraction: float
    volts: tuple[float, float]
    calibrated: bool = True


PLACES = ("Open bench", "Cold frame", "Dappled shade")

WET_COLD, HOT_DRY, HOUSE = "Wet-cold mix", "Hot-dry mix", "House mix"
MIXES = (
    PlannedMix(
        WET_COLD,
        {"perlite": 2, "coir": 2, "compost": 1},
        0.20,
        Substrate(0.46, 0.07, 0.28, 0.72, drains_s=900.0, solids_m3_m3=0.10),
        "drains fast; for cold, wet weeks",
    ),
    PlannedMix(
        HOT_DRY,
        {"compost": 3, "coir": 1, "vermiculite": 1},
        0.29,
        Substrate(0.62, 0.10, 0.34, 0.80, drains_s=2000.0, solids_m3_m3=0.14),
        "holds on to water; for hot, dry weeks",
    ),
    PlannedMix(
        HOUSE,
        {"coir": 2, "compost": 1, "perlite": 1},
        0.26,
        Substrate(0.55, 0.09, 0.32, 0.76, drains_s=1300.0),
        "for everything else",
    ),
)

TOMATO, PEPPER, LETTUCE, MARIGOLD = (
    "Tomato, own seed",
    "Pepper, own seed",
    "Lettuce, swapped",
    "Marigold, own seed",
)
LOTS = (
    PlannedLot(TOMATO, "tomato", 0.92, 200, 0.0, 7.5, 88.0),
    PlannedLot(PEPPER, "pepper", 0.84, 120, 0.0, 10.5, 215.0),
    PlannedLot(LETTUCE, "lettuce", 0.88, 500, 1.5, 0.9, 62.0),
    PlannedLot(MARIGOLD, "marigold", 0.80, 300, 0.0, 8.0, 42.0),
)

BENCH_PROBE, FRAME_PROBE, SHADE_PROBE = "02a1f0fffe4b0001", "02a1f0fffe4b0002", "02a1f0fffe4b0003"
"""EUI-64 names with the bit set that says they were not given out by anybody."""
PROBES_CALLED = {BENCH_PROBE: "Bench probe", FRAME_PROBE: "Frame probe", SHADE_PROBE: "Shade probe"}
PROBE_PLACES = {BENCH_PROBE: "Open bench", FRAME_PROBE: "Cold frame", SHADE_PROBE: "Dappled shade"}

TRAYS = (
    PlannedTray("Tomato 1", "Open bench", HOUSE, TOMATO, 40, 2.4, BENCH_PROBE, 1, 0.85, (2.61, 1.28)),
    PlannedTray("Lettuce 1", "Open bench", WET_COLD, LETTUCE, 60, 2.4, BENCH_PROBE, 2, 0.48, (2.55, 1.42)),
    PlannedTray("Marigold 1", "Open bench", HOT_DRY, MARIGOLD, 40, 3.0, BENCH_PROBE, 3, 0.95, (2.66, 1.21)),
    PlannedTray("Tomato 2", "Cold frame", HOUSE, TOMATO, 40, 2.4, FRAME_PROBE, 1, 0.75, (2.58, 1.31)),
    PlannedTray("Pepper 1", "Cold frame", HOT_DRY, PEPPER, 28, 2.1, FRAME_PROBE, 2, 0.90, (2.63, 1.19)),
    PlannedTray("Pepper 2", "Cold frame", WET_COLD, PEPPER, 28, 2.1, FRAME_PROBE, 3, 0.80, (2.52, 1.40)),
    PlannedTray(
        "Lettuce 2", "Dappled shade", HOUSE, LETTUCE, 60, 2.4, SHADE_PROBE, 1, 0.70, (2.60, 1.30), False
    ),
    PlannedTray("Tomato 3", "Dappled shade", WET_COLD, TOMATO, 40, 2.4, SHADE_PROBE, 2, 0.90, (2.57, 1.38)),
)
