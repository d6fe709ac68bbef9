"""Places: as they are now, one against another, all side by side, for a crop, a frame, hardening off."""

from collections.abc import Callable, Hashable, Mapping
from typing import Any, TypeVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from traywarden.errors import TraywardenError
from traywarden.services.questions.compare import CompareAnswer, CompareAsked, ask_compare
from traywarden.services.questions.compare_words import days_table, gain_table, limits_lines, warmth_table
from traywarden.services.questions.frame import FrameAnswer, ask_frame
from traywarden.services.questions.frame_words import (
    frame_lines,
    harden_days_table,
    harden_table,
    openings_table,
    spells_table,
    stood_lines,
)
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.harden import HardenAnswer, ask_harden
from traywarden.services.questions.place_outlook import ask_place_outlook
from traywarden.services.questions.place_outlook_words import basis_lines
from traywarden.services.questions.place_record import garden_crops
from traywarden.services.questions.place_tables import (
    PAIRS_WORDS,
    WORDS,
    against_table,
    counted_words,
    means_table,
    pairs_table,
    rank_table,
)
from traywarden.services.questions.places import PlacesAnswer, ask_places
from traywarden.services.questions.places_now import MeasuredNow, PlacesNowAnswer, ask_places_now
from traywarden.services.questions.rank import MONTHS, RankAnswer, ask_rank
from traywarden.store.crops import load_crops
from traywarden.web.asked import Asked, told
from traywarden.web.charts import CHARTS
from traywarden.web.pages import face_of, page
from traywarden.web.place_asked import (
    compare_asked,
    frame_asked,
    harden_asked,
    places_asked,
    rank_asked,
    usual_pair,
)
from traywarden.web.place_charts import PLACE_CHARTS

CHARTS.update(PLACE_CHARTS)
router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
T = TypeVar("T")
A = TypeVar("A", bound=Hashable)


@router.get("/places")
def places(request: Request) -> HTMLResponse:
    face = face_of(request)
    with face.asking() as on:
        now, why = told(face, "places now", ask_places_now)
        if now is None:
            return page(request, on, "nothing_yet.html", title="Places", why=why)
        night, no_night = told(face, "place outlook", ask_place_outlook)
        pair = usual_pair(on)
        asked = CompareAsked(pair[0].name, pair[1].name) if pair else None
        compared, not_compared = told(face, asked, lambda g: ask_compare(g, asked)) if asked else (None, "")
        return page(
            request,
            on,
            "places.html",
            title="Places",
            a=now,
            scale=_scale(now),
            night=night,
            no_night=no_night,
            basis=basis_lines(night) if night else [],
            outlooks={each.place: each for each in night.places} if night else {},
            pair=pair,
            compared=compared,
            not_compared=not_compared,
            **choices(on),
        )


@router.get("/places/compare")
def compare(request: Request) -> HTMLResponse:
    """One place against another, over the days asked for."""

    def tables(on: Ground, answer: CompareAnswer) -> dict[str, Any]:
        return {
            "gain": gain_table(answer, on.display),
            "warmth": warmth_table(answer, on.display),
            "days": days_table(answer, on.display),
            "limits": limits_lines(answer),
        }

    return _answered(request, ("place_compare.html", "Two places"), compare_asked, ask_compare, tables)


@router.get("/places/side-by-side")
def side_by_side(request: Request) -> HTMLResponse:
    def tables(on: Ground, answer: PlacesAnswer) -> dict[str, Any]:
        show = on.display
        return {"means": means_table(answer, show), "against": against_table(answer, show), "words": WORDS}

    return _answered(request, ("places_side_by_side.html", "Side by side"), places_asked, ask_places, tables)


@router.get("/places/rank")
def rank(request: Request) -> HTMLResponse:
    def tables(on: Ground, answer: RankAnswer) -> dict[str, Any]:
        return {
            "counted": counted_words(answer, on.display),
            "ranked": rank_table(answer),
            "pairs": pairs_table(answer),
            "pairs_words": PAIRS_WORDS,
        }

    return _answered(request, ("place_rank.html", "The place for a crop"), rank_asked, ask_rank, tables)


@router.get("/places/frame")
def frame(request: Request) -> HTMLResponse:
    def tables(on: Ground, answer: FrameAnswer) -> dict[str, Any]:
        return {
            "lines": frame_lines(answer, on.display),
            "openings": openings_table(answer, on.display),
            "spells": spells_table(answer, on.display, on.zone),
        }

    return _answered(request, ("place_frame.html", "What a frame does"), frame_asked, ask_frame, tables)


@router.get("/places/harden")
def harden(request: Request) -> HTMLResponse:
    def tables(on: Ground, answer: HardenAnswer) -> dict[str, Any]:
        return {
            "average": harden_table(answer, on.display),
            "days": harden_days_table(answer, on.display),
            "stood": stood_lines(answer),
        }

    return _answered(request, ("place_harden.html", "Hardening off"), harden_asked, ask_harden, tables)


def _answered(
    request: Request,
    shown: tuple[str, str],
    asked: Callable[[Ground, Mapping[str, str]], A],
    question: Callable[[Ground, A], T],
    tables: Callable[[Ground, T], dict[str, Any]],
) -> HTMLResponse:
    """A page with its form and, where the address asks enough, the answer; `shown`: template and title."""
    face, params = face_of(request), Asked.of(request)
    template, title = shown
    with face.asking() as on:
        known: dict[str, Any] = {"a": None, "why": ""}
        try:
            what = asked(on, params)
        except TraywardenError as error:
            known["why"] = str(error) if params else ""
        else:
            known["a"], known["why"] = answer, _ = told(face, what, lambda ground: question(ground, what))
            if answer is not None:
                known |= tables(on, answer)
        return page(request, on, template, title=title, asked=params, **known, **choices(on))


def choices(on: Ground) -> dict[str, Any]:
    """What the forms let one choose: each as its number or key, and its name."""
    mine = garden_crops(on)
    every = sorted(load_crops().values(), key=lambda crop: crop.name.casefold())
    return {
        "places": [(str(place.place_id), place.name) for place in on.places.values()],
        "covered": [(str(place.place_id), place.name) for place in on.places.values() if place.covered],
        "trays": [(f"tray-{tray.tray_id}", tray.name) for tray in on.trays.values()],
        "tray_ids": {tray.name: tray.tray_id for tray in on.trays.values()},
        "place_ids": {place.name: place.place_id for place in on.places.values()},
        "my_crops": [(crop.key, crop.name) for crop in mine],
        "crops": [(crop.key, crop.name) for crop in every if crop not in mine],
        "months": [(str(n), name) for n, name in enumerate(MONTHS, 1)],
    }


def _scale(answer: PlacesNowAnswer) -> tuple[float, float] | None:
    """One scale [°C] for the pictures of all places, so that they can be set against each other."""
    sides: list[MeasuredNow] = [side for place in answer.places for side in (place.air, place.soil)]
    temps = [t for side in sides for t in (side.low_c, side.high_c, side.temp_c) if t is not None]
    if not temps:
        return None
    return min(temps) - 1.0, max(temps) + 1.0
