"""Probes: heard of when, battery, signal, what is wrong in words; where each head is."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.probe_cards import ProbeCard
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.probes import ask_probes
from traywarden.services.questions.quality import HeadTrouble, ask_quality
from traywarden.services.running import running_host
from traywarden.web.face import Face
from traywarden.web.pages import bare_page, face_of, page

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
TROUBLE_DAYS = 14.0
WAIT_S = 0.3
"""A page does not wait longer for all heads' readings to be looked through: over a season that takes long."""
LOOKING = "The readings are being looked through; open this page again in a moment."
Troubles = dict[str, list[HeadTrouble]]


@router.get("/probes")
def probes(request: Request) -> HTMLResponse:
    face = face_of(request)
    cards, (troubles, untold) = face.ask("probes", ask_probes), _troubles(face)
    with face.asking() as on:
        return page(
            request,
            on,
            "probes.html",
            title="Probes",
            cards=cards,
            troubles=troubles,
            untold=untold,
            quiet=_quiet(on, cards),
            host=running_host(face.settings.home),
            **_targets(on),
        )


@router.get("/probes/{probe_id}")
def probe(request: Request, probe_id: int) -> Response:
    face = face_of(request)
    card = card_of(face, probe_id)
    if card is None:
        return no_such_probe(request)
    troubles, untold = _troubles(face)
    with face.asking() as on:
        return page(
            request,
            on,
            "probe.html",
            title=f"Probe {card.called}",
            card=card,
            troubles=[each for head in card.heads for each in troubles.get(head.head, [])],
            untold=untold,
            quiet=_quiet(on, [card]),
            days=TROUBLE_DAYS,
            **_targets(on),
        )


def card_of(face: Face, probe_id: int) -> ProbeCard | None:
    return next((card for card in face.ask("probes", ask_probes) if card.probe_id == probe_id), None)


def no_such_probe(request: Request) -> HTMLResponse:
    why = "There is no such probe or head here; the page Probes shows those that have reported."
    return bare_page(request, "refused.html", status=404, title="Not here", why=why)


def _troubles(face: Face) -> tuple[Troubles, str]:
    """What is wrong with readings, by head; or why that cannot be told."""
    try:
        answer = face.at_hand(("quality", TROUBLE_DAYS), lambda on: ask_quality(on, "", TROUBLE_DAYS), WAIT_S)
    except (ShortOfDataError, UsageError) as error:
        return {}, str(error)
    if answer is None:
        return {}, LOOKING
    found: Troubles = {}
    for trouble in answer.troubles:
        found.setdefault(trouble.head, []).append(trouble)
    return found, ""


def _quiet(on: Ground, cards: list[ProbeCard]) -> set[str]:
    """Probes that have been silent for so long that their trays cannot be judged."""
    longest_ms = on.settings["notices.blind_after_s"] * 1000
    return {c.probe for c in cards if not c.imported and on.now_ms - c.last_seen_ms > longest_ms}


def _targets(on: Ground) -> dict[str, list[str]]:
    """Where a head can be put."""
    return {
        "trays": sorted(tray.name for tray in on.trays.values()),
        "places": sorted(place.name for place in on.places.values()),
    }
