"""Questions about places as an address asks them: places by number, days as words, empty for the usual."""

from collections.abc import Mapping
from datetime import date

from traywarden.domain.garden import Place, Tray
from traywarden.errors import UsageError
from traywarden.services.questions.compare import CompareAsked
from traywarden.services.questions.days import day_of
from traywarden.services.questions.frame import FrameAsked
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.harden import HardenAsked
from traywarden.services.questions.place_record import OPEN_KINDS
from traywarden.services.questions.places import PlacesAsked
from traywarden.services.questions.rank import RankAsked

Params = Mapping[str, str]
HARDEN_DAYS = 14


def compare_asked(on: Ground, params: Params) -> CompareAsked:
    """Raises UsageError where a place is missing or there is none of that number."""
    a, b = (_place(on, params, name) for name in ("a", "b"))
    if not a or not b:
        raise UsageError("Choose two places.")
    return CompareAsked(a, b, *_days(on, params), params.get("crop", ""), params.get("measured", ""))


def places_asked(on: Ground, params: Params) -> PlacesAsked:
    return PlacesAsked(*_days(on, params), params.get("measured", ""), _place(on, params, "against"))


def rank_asked(on: Ground, params: Params) -> RankAsked:
    del on
    month = whole(params, "month")
    if not params.get("crop"):
        raise UsageError("Choose a crop.")
    return RankAsked(params["crop"], month, params.get("measured", ""), bool(params.get("best")))


def frame_asked(on: Ground, params: Params) -> FrameAsked:
    frame = _place(on, params, "frame")
    if not frame:
        raise UsageError("Choose a covered place.")
    return FrameAsked(frame, _place(on, params, "against"), *_days(on, params))


def harden_asked(on: Ground, params: Params) -> HardenAsked:
    """The plants are a tray (“tray-3”) or whatever stands in a place (“place-2”)."""
    kind, _, number = params.get("plants", "").partition("-")
    wanted = int(number) if number.isdecimal() else -1
    found: Tray | Place | None = on.trays.get(wanted) if kind == "tray" else None
    if kind == "place":
        found = on.places.get(wanted)
    if found is None:
        raise UsageError("Choose a tray or a place.")
    against = _place(on, params, "against")
    return HardenAsked(found.name, against, params.get("crop", ""), whole(params, "days") or HARDEN_DAYS)


def usual_pair(on: Ground) -> tuple[Place, Place] | None:
    """A frame and the bench, as far as there are such; else the first two places."""
    places = list(on.places.values())
    covered = [place for place in places if place.covered]
    bare = [place for kind in reversed(OPEN_KINDS) for place in places if place.kind is kind]
    order = dict.fromkeys(place.place_id for place in [*covered[:1], *bare[:1], *places])
    first, *rest = (*order,) or (None,)
    return (on.places[first], on.places[rest[0]]) if first is not None and rest else None


def whole(params: Params, name: str) -> int | None:
    words = params.get(name, "").strip()
    if not words:
        return None
    if not words.isdecimal() or len(words) > 6:
        raise UsageError(f"“{words[:20]}” is not a whole number ({name}).")
    return int(words)


def _place(on: Ground, params: Params, name: str) -> str:
    number = whole(params, name)
    if number is None:
        return ""
    if number not in on.places:
        raise UsageError("There is no such place; choose one of the list.")
    return on.places[number].name


def _days(on: Ground, params: Params) -> tuple[date | None, date | None]:
    return day_of(on, params.get("from", "")), day_of(on, params.get("to", ""))
