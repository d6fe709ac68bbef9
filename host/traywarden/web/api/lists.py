"""What there is: journal, trays, places, mixes, lots, crops, probes, notices, and how the host does."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from traywarden.domain.crops import Crop
from traywarden.domain.garden import Lot, Mix, Place
from traywarden.domain.journal import replacements
from traywarden.services.doctor import DoctorAnswer, ask_doctor
from traywarden.services.journal_pages import Sought, kind_named, sought_entries
from traywarden.services.journal_words import EntryLine, entry_lines
from traywarden.services.lot_card import LotCard, lot_card
from traywarden.services.plain import json_text
from traywarden.services.probe_cards import ProbeCard, probe_cards
from traywarden.services.probe_settings import wanted_settings
from traywarden.services.questions.explained import ExplainAnswer, ask_explain
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.notices import ChainAnswer, NoticesAnswer, ask_chain, ask_notices
from traywarden.services.questions.replayed import ReplayAnswer, ReplayAsked, ask_replay
from traywarden.services.tray_card import TrayCard, tray_card, tray_cards
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store.crops import crop_named, load_crops
from traywarden.web.answers import FRESH_S
from traywarden.web.api.answering import (
    ADDRESS,
    KNOWN_ALONE,
    From,
    Limit,
    Name,
    To,
    Word,
    answered,
    answers,
    as_json,
    span,
)
from traywarden.web.pages import face_of

router = APIRouter(prefix=ADDRESS, dependencies=KNOWN_ALONE, tags=["What there is"])
MOST_REPLAYED_D = 62
"""A year takes minutes: the command is there for it, which shows how far it is."""
NONE: list[str] = []
Everything = Annotated[bool, Query(alias="all", description="Also what was replaced, taken back or sent.")]


@router.get("/journal")
@answers(list[EntryLine])
def journal(
    request: Request, tray: Name = "", kind: Word = "", limit: Limit = 30, everything: Everything = False
) -> Response:
    """The journal as it holds, oldest first; the newest `limit` entries."""

    def question(on: Ground) -> list[EntryLine]:
        tray_id = garden_store.tray_named(on.tx, tray).tray_id if tray else None
        entries = journal_store.entries(on.tx)
        found = sought_entries(entries, Sought(tray_id, kind_named(kind), everything))
        return entry_lines(on.tx, found[-limit:], replacements(entries), on.zone, on.display)

    return answered(request, question)


@router.get("/trays")
@answers(list[TrayCard])
def trays(request: Request) -> Response:
    """The trays: where each stands, its mix, and what is sown in it."""
    now_ms = face_of(request).now_ms()
    return answered(request, lambda on: tray_cards(on.tx, on.zone, now_ms))


@router.get("/trays/show")
@answers(TrayCard)
def tray(request: Request, name: Name, lines: Annotated[int, Query(ge=0, le=10_000)] = 10) -> Response:
    """One tray: place, mix, crop, heads and its last journal entries."""
    now_ms = face_of(request).now_ms()
    return answered(request, lambda on: tray_card(on.tx, name, on.zone, on.display, now_ms, lines=lines))


@router.get("/places")
@answers(list[Place])
def places(request: Request) -> Response:
    """The places."""
    return answered(request, lambda on: garden_store.places(on.tx))


@router.get("/mixes")
@answers(list[Mix])
def mixes(request: Request) -> Response:
    """The mixes, with the container capacity that holds now."""
    now_ms = face_of(request).now_ms()
    return answered(
        request,
        lambda on: [on.facts.mix_as_held(mix, None, now_ms) for mix in garden_store.mixes(on.tx)],
    )


@router.get("/lots")
@answers(list[Lot])
def lots(request: Request) -> Response:
    """The lots of seed."""
    return answered(request, lambda on: garden_store.lots(on.tx))


@router.get("/lots/show")
@answers(LotCard)
def lot(request: Request, lot: Name) -> Response:
    """One lot: what its seed germinates now, as far as packet, tests and age tell."""
    return answered(request, lambda on: lot_card(on, lot))


@router.get("/crops")
@answers(list[Crop])
def crops(request: Request, kind: Literal["", "vegetable", "flower", "herb"] = "") -> Response:
    """The crops, with the temperatures their seed comes up at, each with its source."""
    return as_json(json_text([crop for crop in load_crops().values() if kind in ("", crop.kind)]))


@router.get("/crops/show")
@answers(Crop)
def crop(request: Request, name: Name) -> Response:
    """One crop: its limits and days to emergence, each with its source."""
    return as_json(json_text(crop_named(name)))


@router.get("/probes")
@answers(list[ProbeCard])
def probes(request: Request) -> Response:
    """The probes that have reported: where each head is, when last heard of, battery."""
    now_ms = face_of(request).now_ms()

    def question(on: Ground) -> list[ProbeCard]:
        wanted = wanted_settings(on.tx, on.settings, load_crops(), now_ms)
        return probe_cards(on.tx, now_ms, wanted)

    return answered(request, question)


@router.get("/notices")
@answers(NoticesAnswer)
def notices(request: Request, everything: Everything = False, limit: Limit = 30) -> Response:
    """Notices that wait, are held or parked (with `all` also the sent ones), newest first."""
    return answered(request, lambda on: ask_notices(on.tx, limit, with_sent=everything))


@router.get("/notices/show")
@answers(ChainAnswer)
def notice(request: Request, notice: Name) -> Response:
    """One notice and everything behind it: readings, verdict, episode, attempts."""
    return answered(request, lambda on: ask_chain(on.tx, on.settings, notice))


@router.get("/notices/replay")
@answers(ReplayAnswer)
def replay(
    request: Request,
    start: From = "",
    to: To = "",
    rule: Annotated[list[Word], Query(max_length=30, description="Only these rules.")] = NONE,
    given: Annotated[list[Word], Query(alias="set", max_length=50)] = NONE,
) -> Response:
    """What would have been told over at most 62 days, with these settings or others; nothing is sent."""

    def question(on: Ground) -> ReplayAnswer:
        asked = ReplayAsked(*span(on, start, to), tuple(rule), tuple(given))
        return ask_replay(on, asked, MOST_REPLAYED_D)

    return answered(request, question)


@router.get("/notices/explain")
@answers(ExplainAnswer)
def explain(request: Request, rule: Name, subject: Name = "") -> Response:
    """Why a rule says yes, no or blind of something now, by which levels, and when it would turn."""
    return answered(request, lambda on: ask_explain(on, rule, subject))


@router.get("/doctor")
@answers(DoctorAnswer)
def doctor(request: Request) -> Response:
    """Versions, settings, broker, store, probes and notices, and what to do about what is wrong."""
    face = face_of(request)
    return as_json(
        face.answers.ask(
            "api doctor", lambda: json_text(ask_doctor(face.settings, face.now_ms())), stale_s=FRESH_S
        )
    )
