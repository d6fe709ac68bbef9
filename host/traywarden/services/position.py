"""Where on Earth the garden lies, or what stands in where nobody wrote it down."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from traywarden.domain.demand import assumed_position
from traywarden.domain.garden import Garden
from traywarden.services.questions.ground import Ground
from traywarden.store.zones import zone_location


@dataclass(frozen=True, slots=True)
class Position:
    """Degrees north and east. `stand_in` says whose they are where they are not the garden's own."""

    latitude_deg: float
    longitude_deg: float
    stand_in: str = ""


def position_of(ground: Ground) -> Position:
    """Where the garden asked about lies."""
    return position_in(ground.garden, ground.zone, ground.now_ms)


def position_in(garden: Garden, zone: ZoneInfo, now_ms: int) -> Position:
    """The garden's own position; else that of its time zone's principal location; else 45° north on the
    meridian of its clock, where the zone is no place on Earth."""
    latitude_deg, longitude_deg = garden.latitude_deg, garden.longitude_deg
    if latitude_deg is not None and longitude_deg is not None:
        return Position(latitude_deg, longitude_deg)
    located = zone_location(garden.time_zone)
    if located is None:
        theirs = assumed_position(zone, now_ms / 1000)
        whose = f"{theirs[0]:.0f}° north, on the meridian of its clock, stands in"
    else:
        name, *degrees = located
        theirs = degrees[0], degrees[1]
        whose = f"that of {name} ({_words(*theirs)}), of its time zone, stands in"
    missing = " and ".join(
        what for what, own in (("latitude", latitude_deg), ("longitude", longitude_deg)) if own is None
    )
    return Position(
        theirs[0] if latitude_deg is None else latitude_deg,
        theirs[1] if longitude_deg is None else longitude_deg,
        f"the garden's {missing} is not written down; for sun and season {whose} "
        "(give your own with: traywarden garden set)",
    )


def _words(latitude_deg: float, longitude_deg: float) -> str:
    north, east = "north" if latitude_deg >= 0 else "south", "east" if longitude_deg >= 0 else "west"
    return f"{abs(latitude_deg):.0f}° {north}, {abs(longitude_deg):.0f}° {east}"
