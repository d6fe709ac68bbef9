"""What is published about raising plants to set out: weeks from sowing, and soil to plant into."""

from dataclasses import dataclass

HARDEN_D = (7, 14)
"""Days of hardening off before planting out (Univ. of Maryland Extension: one to two weeks)."""
HARDEN_SOURCE = "Univ. of Maryland Extension"


@dataclass(frozen=True, slots=True)
class Raising:
    """Weeks from sowing to planting out as a source prints them, with its germination temperature."""

    weeks_low: float
    weeks_high: float
    germination_low_c: float
    germination_high_c: float
    source: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class PlantingTemperature:
    """A soil temperature between least and best at which a source would plant or sow."""

    realistic_c: float
    source: str
    note: str = ""
