"""Settings of what the garden is made of: places, trays, mixes, lots of seed, and the table of crops."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from traywarden.domain.garden import PlaceKind, parts_words
from traywarden.domain.journal import Kind
from traywarden.services.calibrating import DRY_MIX_M3_M3
from traywarden.services.tray_card import tray_cards
from traywarden.store.crops import crop_name, load_crops
from traywarden.web.making import MOST_PARTS
from traywarden.web.pages import bare_page, face_of, page
from traywarden.web.start import ingredients

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)


@router.get("/settings/places")
def places(request: Request) -> HTMLResponse:
    with face_of(request).asking() as on:
        found = list(on.places.values())
        return page(request, on, "settings_places.html", title="Places", found=found, kinds=list(PlaceKind))


@router.get("/settings/trays")
def trays(request: Request) -> HTMLResponse:
    with face_of(request).asking() as on:
        return page(
            request,
            on,
            "settings_trays.html",
            title="Trays",
            cards=tray_cards(on.tx, on.zone, on.now_ms),
            mixes=sorted(mix.name for mix in on.mixes.values()),
            places=sorted(place.name for place in on.places.values()),
        )


@router.get("/settings/mixes")
def mixes(request: Request) -> HTMLResponse:
    with face_of(request).asking() as on:
        calibrated = {e.mix_id for e in on.facts.entries if e.kind is Kind.CALIBRATED and e.mix_id}
        return page(
            request,
            on,
            "settings_mixes.html",
            title="Mixes",
            found=[(mix, on.facts.mix_as_held(mix, None, on.now_ms)) for mix in on.mixes.values()],
            calibrated=calibrated,
            parts_words=parts_words,
            most_parts=MOST_PARTS,
            ingredients=ingredients(on),
            dry_pct=DRY_MIX_M3_M3 * 100,
        )


@router.get("/settings/lots")
def lots(request: Request) -> HTMLResponse:
    with face_of(request).asking() as on:
        return page(
            request,
            on,
            "settings_lots.html",
            title="Lots of seed",
            found=list(on.lots.values()),
            crop_name=crop_name,
            crops=sorted(crop.name for crop in load_crops().values()),
        )


@router.get("/settings/crops")
def crops(request: Request) -> HTMLResponse:
    with face_of(request).asking() as on:
        found = sorted(
            load_crops().values(), key=lambda crop: (crop.kind != "vegetable", crop.kind, crop.name)
        )
        return page(request, on, "settings_crops.html", title="Crops", found=found)


@router.get("/settings/crops/{key}")
def crop(request: Request, key: str) -> Response:
    found = load_crops().get(key)
    if found is None:
        why = "There is no such crop in the table."
        return bare_page(request, "refused.html", status=404, title="Not here", why=why)
    with face_of(request).asking() as on:
        return page(request, on, "settings_crop.html", title=found.name, crop=found)
