"""Time zones: where on Earth each lies, from the tz database's own table, and which is this computer's."""

import os
import re
from collections.abc import Mapping
from contextlib import suppress
from functools import cache
from importlib import resources
from pathlib import Path
from zoneinfo import available_timezones

_COORDINATES = re.compile(r"([+-]\d{4}|[+-]\d{6})([+-]\d{5}|[+-]\d{7})")


@cache
def zone_location(zone: str) -> tuple[str, float, float] | None:
    """The principal location of a time zone.

    Parameters
    ----------
    zone : str, name in the tz database; an old name is followed to the one that replaced it

    Returns
    -------
    (name, latitude [°, north positive], longitude [°, east positive]); None for zones that are no place on
    Earth, such as UTC

    Notes
    -----
    From zone.tab, which gives each zone's principal location as ±DDMM±DDDMM or with seconds.

    References
    ----------
    IANA Time Zone Database (public domain), zone.tab; as packaged in tzdata.

    Examples
    --------
    >>> name, latitude_deg, longitude_deg = zone_location("Pacific/Auckland")
    >>> name, round(latitude_deg, 1), round(longitude_deg, 1), zone_location("Etc/GMT-2")
    ('Auckland', -36.9, 174.8, None)
    """
    found = _locations().get(zone) or _locations().get(_links().get(zone, ""))
    if found is None:
        return None
    return zone.rsplit("/", 1)[-1].replace("_", " "), *found


def zone_names() -> set[str]:
    """Every time zone a garden can keep. “localtime” and “Factory” lie in the same folder on some systems."""
    return available_timezones() - {"localtime", "Factory"}


def computers_zone(environ: Mapping[str, str] | None = None, etc: Path = Path("/etc")) -> str | None:
    """The time zone this computer keeps: TZ, else /etc/localtime, else /etc/timezone; None where none tells.

    `/etc/localtime` is a link into a folder of zones; the first part of its path that names a zone does.
    """
    environ = os.environ if environ is None else environ
    known = zone_names()
    named = [environ.get("TZ", "").removeprefix(":")]
    parts = (etc / "localtime").resolve().parts
    named += ["/".join(parts[first:]) for first in range(1, len(parts))]
    with suppress(OSError, UnicodeDecodeError):
        named.append((etc / "timezone").read_text(encoding="utf-8").strip())
    return next((name for name in named if name in known), None)


@cache
def _locations() -> dict[str, tuple[float, float]]:
    found = {}
    for line in _table("zone.tab").splitlines():
        if line.startswith("#"):
            continue
        _, coordinates, name, *_ = line.split("\t")
        if (match := _COORDINATES.fullmatch(coordinates)) is not None:
            found[name] = _degrees(match[1], 2), _degrees(match[2], 3)
    return found


@cache
def _links() -> dict[str, str]:
    """Old names and what they stand for, each followed to the end."""
    lines = (line.split() for line in _table("tzdata.zi").splitlines() if line.startswith("L "))
    direct = {name: target for _, target, name in lines}
    return {name: direct.get(target, target) for name, target in direct.items()}


def _table(name: str) -> str:
    return (resources.files("tzdata") / "zoneinfo" / name).read_text(encoding="utf-8")


def _degrees(digits: str, whole: int) -> float:
    sign = -1.0 if digits[0] == "-" else 1.0
    degrees, minutes, seconds = digits[1 : 1 + whole], digits[1 + whole : 3 + whole], digits[3 + whole :]
    return sign * (int(degrees) + int(minutes) / 60 + int(seconds or "0") / 3600)
