"""Journal: what was done and seen, newest first; take back, correct, and write down anything."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from traywarden.domain.journal import Entry, Kind, replacements
from traywarden.errors import TraywardenError, UsageError
from traywarden.services.journal_changes import corrected, fields_of
from traywarden.services.journal_pages import Sought, journal_page, kind_named
from traywarden.services.journal_words import entry_lines
from traywarden.services.questions.ground import Ground
from traywarden.store import journal as journal_store
from traywarden.store.crops import load_crops
from traywarden.store.store import Tx
from traywarden.web.face import Face
from traywarden.web.pages import back_to, face_of, page
from traywarden.web.security import form_of

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
WAYS: Mapping[str, str] = {
    "watered": "Watered",
    "sowed": "Sowed",
    "emerged": "Seedlings up",
    "moved": "Moved",
    "potted-up": "Potted up",
    "planted-out": "Planted out",
    "weighed": "Weighed",
    "levelled": "Put level",
    "vented": "Opened a place",
    "closed": "Closed a place",
    "rained": "Rained",
    "note": "A note",
}
"""What the page offers to write down, by the last part of the address its form is sent to."""


@router.get("/journal")
def journal(request: Request, tray: str = "", kind: str = "", all: str = "", page_no: str = "1") -> Response:
    face = face_of(request)
    with face.asking() as on:
        chosen = on.trays.get(_number(tray) or -1)
        sought = Sought(chosen.tray_id if chosen else None, kind_named(kind), all == "yes")
        found = journal_page(on.tx, on.zone, on.display, sought, _number(page_no) or 1)
        asked = {"tray": str(chosen.tray_id) if chosen else "", "kind": kind, "all": all}
        return page(
            request,
            on,
            "journal.html",
            title="Journal",
            found=found,
            asked=asked,
            kept={name: words for name, words in asked.items() if words},
            kinds=[each.value for each in Kind if each is not Kind.UNDONE],
            trays=sorted(on.trays.values(), key=lambda each: each.name),
            ways=WAYS,
        )


@router.get("/journal/write")
def write_form(request: Request, what: str = "watered", tray: str = "", lot: str = "") -> HTMLResponse:
    """A form for one deed, with `tray` chosen already."""
    face = face_of(request)
    if what not in WAYS:
        raise UsageError(f"There is nothing called “{what[:40]}” to write down.")
    with face.asking() as on:
        return page(
            request,
            on,
            "journal_write.html",
            title=WAYS[what],
            what=what,
            ways=WAYS,
            chosen=tray,
            lot=lot,
            groups=_by_place(on),
            **_names(on),
        )


@router.get("/journal/correct")
def correct_form(request: Request, entry: str = "") -> HTMLResponse:
    face = face_of(request)
    with face.asking() as on:
        found = _holding(on.tx, _number(entry))
        line = entry_lines(on.tx, [found], {}, on.zone, on.display)[0]
        fields = fields_of(on.tx, found, on.zone)
        return page(
            request, on, "journal_correct.html", title="Correct", line=line, fields=fields, **_names(on)
        )


@router.post("/journal/correct")
async def correct(request: Request) -> Response:
    form = await form_of(request)
    said = {name: words.replace("\r\n", "\n") for name, words in form.items() if isinstance(words, str)}
    number = _number(said.get("entry", ""))
    try:
        made = await run_in_threadpool(_correct, face_of(request), number, said)
    except TraywardenError as error:
        return back_to(request, f"/journal/correct?entry={number or ''}", problem=str(error))
    return back_to(request, "/journal", did=[made.entry_id])


def _correct(face: Face, number: int | None, said: Mapping[str, str]) -> Entry:
    with face.asking() as on:
        now_ms, zone = on.now_ms, on.zone
    with face.store.write() as tx:
        made = corrected(tx, _holding(tx, number), said, now_ms, zone)
    face.answers.written()
    return made


def _holding(tx: Tx, number: int | None) -> Entry:
    """The entry of that number, if it holds and there is something in it to correct."""
    entries = {entry.entry_id: entry for entry in journal_store.entries(tx)}
    found = entries.get(number or -1)
    if found is None:
        raise UsageError("There is no such entry in the journal.")
    if found.kind is Kind.UNDONE or number in replacements(entries.values()):
        raise UsageError(f"Entry {number} holds no more, so it cannot be corrected.")
    return found


def _number(words: str) -> int | None:
    return int(words) if words.isascii() and words.isdigit() and len(words) < 10 else None


def _by_place(on: Ground) -> list[tuple[str, list[str]]]:
    """Trays to tick, by the place they stand in now."""
    groups: dict[str, list[str]] = {}
    for tray in sorted(on.trays.values(), key=lambda each: each.name):
        place = on.place_of(tray.tray_id, on.now_ms)
        groups.setdefault(place.name if place else "", []).append(tray.name)
    return sorted(groups.items(), key=lambda each: (not each[0], each[0]))


def _names(on: Ground) -> dict[str, Any]:
    return {
        "trays": sorted(tray.name for tray in on.trays.values()),
        "places": sorted(place.name for place in on.places.values()),
        "mixes": sorted(mix.name for mix in on.mixes.values()),
        "lots": sorted(lot.name for lot in on.lots.values()),
        "crops": sorted(crop.name for crop in load_crops().values()),
    }
