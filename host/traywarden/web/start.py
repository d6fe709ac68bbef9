"""First start: naming the garden, then a place, a mix, a tray and a probe, each to be skipped."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from traywarden.domain.garden import PlaceKind
from traywarden.errors import NoGardenError
from traywarden.services.probe_cards import probe_cards
from traywarden.services.questions.ground import Ground
from traywarden.services.running import Running, running_host
from traywarden.store.zones import computers_zone, zone_names
from traywarden.web.channels import reaches_nobody
from traywarden.web.making import MOST_PARTS
from traywarden.web.pages import bare_page, face_of, page

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
STEPS = ("garden", "place", "mix", "tray", "probe")
UTC_ZONE = "Etc/UTC"


@dataclass(frozen=True, slots=True)
class Step:
    """One step of setting up: how many of it there are already, and whether it is the one shown."""

    name: str
    there: int
    now: bool


@router.get("/start")
def start(request: Request, step: str = "") -> HTMLResponse:
    """The step asked for, else the first that has not been done."""
    face = face_of(request)
    try:
        with face.asking() as on:
            host = running_host(face.settings.home)
            return _step(request, on, host, step)
    except NoGardenError:
        return bare_page(
            request,
            "start_garden.html",
            title="Your garden",
            leading=True,
            zones=zones_by_region(),
            own_zone=computers_zone() or UTC_ZONE,
            home=str(face.settings.home),
        )


def _step(request: Request, on: Ground, host: Running | None, asked: str) -> HTMLResponse:
    cards = probe_cards(on.tx, on.now_ms)
    placed = sum(1 for card in cards for head in card.heads if head.tray or head.place)
    there = (1, len(on.places), len(on.mixes), len(on.trays), placed)
    counts = dict(zip(STEPS, there, strict=True))
    shown = asked if asked in STEPS else next((name for name in STEPS if not counts[name]), "probe")
    if shown == "garden":
        shown = STEPS[1]
    after = STEPS.index(shown) + 1
    return page(
        request,
        on,
        "start_step.html",
        title="Setting up",
        steps=[Step(name, counts[name], name == shown) for name in STEPS],
        shown=shown,
        after=f"/start?step={STEPS[after]}" if after < len(STEPS) else "/",
        places=sorted(place.name for place in on.places.values()),
        mixes=sorted(mix.name for mix in on.mixes.values()),
        trays=sorted(tray.name for tray in on.trays.values()),
        kinds=list(PlaceKind),
        most_parts=MOST_PARTS,
        ingredients=ingredients(on),
        cards=cards,
        host=host,
        slug=on.garden.slug,
        reaches=reaches_nobody(face_of(request)),
    )


def zones_by_region() -> dict[str, list[str]]:
    """Every time zone, by the part of its name before the first slash; those without one come last."""
    regions: dict[str, list[str]] = {}
    for name in sorted(zone_names()):
        regions.setdefault(name.partition("/")[0] if "/" in name else "Other", []).append(name)
    return {region: regions[region] for region in sorted(regions, key=lambda r: (r in ("Etc", "Other"), r))}


def ingredients(on: Ground) -> list[str]:
    """What mixes of this garden hold, and what mixes commonly hold, for a list to choose from."""
    own = {part for mix in on.mixes.values() for part in mix.parts}
    return sorted(own | {"coir", "compost", "peat", "perlite", "vermiculite", "bark", "sand", "loam"})
