"""Everything a grower writes down, from a form into the journal; and taking it back."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import FormData

from traywarden.domain.journal import Kind
from traywarden.errors import TraywardenError, UsageError
from traywarden.services.journal import Draft, put, undo
from traywarden.services.journal_changes import number_from_text
from traywarden.services.moments import parse_moment
from traywarden.services.questions.ground import Ground
from traywarden.store import garden as garden_store
from traywarden.store.crops import crop_named
from traywarden.store.store import Tx
from traywarden.web.face import Face
from traywarden.web.pages import back_to, face_of
from traywarden.web.security import form_of

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)


@dataclass(frozen=True, slots=True)
class Written:
    """What a form says: one value to a field, and the trays it names."""

    fields: Mapping[str, str]
    trays: tuple[str, ...]

    @classmethod
    def of(cls, form: FormData) -> "Written":
        fields = {name: value.strip() for name, value in form.items() if isinstance(value, str)}
        trays = tuple(
            dict.fromkeys(v.strip() for v in form.getlist("tray") if isinstance(v, str) and v.strip())
        )
        return cls(fields, trays)

    def text(self, name: str) -> str:
        return self.fields.get(name, "")

    def number(self, name: str) -> float | None:
        """Raises UsageError where it is none; a comma serves as a decimal point."""
        words = self.text(name)
        return float(number_from_text(words, name)) if words else None

    def whole(self, name: str) -> int | None:
        value = self.number(name)
        if value is not None and not value.is_integer():
            raise UsageError(f"{value:g} is not a whole number ({name.replace('_', ' ')}).")
        return None if value is None else int(value)


Drafts = Callable[[Tx, Written, int], list[Draft]]


@router.post("/write/{what}")
async def write(request: Request, what: str) -> Response:
    form = await form_of(request)
    back = form.get("back")
    if what not in DEEDS:
        raise UsageError(f"There is nothing called “{what[:40]}” to write down.")
    try:
        did = await run_in_threadpool(put_down, face_of(request), DEEDS[what], Written.of(form))
    except TraywardenError as error:
        return back_to(request, back, problem=str(error))
    return back_to(request, back, did=did)


@router.post("/undo")
async def take_back(request: Request) -> Response:
    """Take back one entry, or several that were written together."""
    form = await form_of(request)
    numbers = [int(n) for n in form.getlist("entry") if isinstance(n, str) and n.isdigit()]
    try:
        await run_in_threadpool(_take_back, face_of(request), numbers)
    except TraywardenError as error:
        return back_to(request, form.get("back"), problem=str(error))
    return back_to(request, form.get("back"))


def _take_back(face: Face, numbers: list[int]) -> None:
    with face.store.write() as tx:
        for number in reversed(numbers):
            undo(tx, number, face.now_ms())
    face.answers.written()


def put_down(face: Face, drafts: Drafts, written: Written) -> list[int]:
    """Write all or none of it; the numbers of the entries."""
    with face.asking() as on:
        at_ms = _at_ms(on, written)
    with face.store.write() as tx:
        entries = [put(tx, draft, face.now_ms()) for draft in drafts(tx, written, at_ms)]
    face.answers.written()
    return [entry.entry_id for entry in entries]


def _at_ms(on: Ground, written: Written) -> int:
    return parse_moment(written.text("at"), now_ms=on.now_ms, zone=on.zone).at_ms


def _of_trays(kind: Kind, *data: Callable[[Written], Mapping[str, Any]]) -> Drafts:
    def drafts(tx: Tx, written: Written, at_ms: int) -> list[Draft]:
        if not written.trays:
            raise UsageError("Choose a tray first.")
        held = {name: value for part in data for name, value in part(written).items()}
        return [
            Draft(
                kind,
                at_ms,
                tray_id=garden_store.tray_named(tx, name).tray_id,
                data=held,
                note=written.text("note"),
            )
            for name in written.trays
        ]

    return drafts


def _sowed(tx: Tx, written: Written, at_ms: int) -> list[Draft]:
    lot = garden_store.lot_named(tx, written.text("lot")) if written.text("lot") else None
    if lot is None and not written.text("crop"):
        raise UsageError("Say what was sown: a lot of seed, or a crop.")
    named = crop_named(written.text("crop")) if written.text("crop") else None
    if lot and named and named.key != lot.crop:
        raise UsageError(f"Lot “{lot.name}” is {lot.crop}, not {named.key}; leave the crop out.")
    key = lot.crop if lot else named.key if named else ""
    made = []
    for name in written.trays:
        tray = garden_store.tray_named(tx, name)
        cells = written.whole("cells")
        data = {
            "crop": key,
            "cells": tray.cells if cells is None else cells,
            "seeds_per_cell": written.number("seeds_per_cell"),
            "depth_mm": written.number("depth_mm"),
        }
        lot_id = lot.lot_id if lot else None
        made.append(
            Draft(
                Kind.SOWED, at_ms, tray_id=tray.tray_id, lot_id=lot_id, data=data, note=written.text("note")
            )
        )
    if not made:
        raise UsageError("Choose a tray first.")
    return made


def _moved(tx: Tx, written: Written, at_ms: int) -> list[Draft]:
    place = garden_store.place_named(tx, written.text("to"))
    if not written.trays:
        raise UsageError("Choose a tray first.")
    return [
        Draft(
            Kind.MOVED,
            at_ms,
            tray_id=garden_store.tray_named(tx, name).tray_id,
            place_id=place.place_id,
            note=written.text("note"),
        )
        for name in written.trays
    ]


def _of_a_place(kind: Kind) -> Drafts:
    def drafts(tx: Tx, written: Written, at_ms: int) -> list[Draft]:
        place = garden_store.place_named(tx, written.text("place"))
        return [Draft(kind, at_ms, place_id=place.place_id, note=written.text("note"))]

    return drafts


def _rained(tx: Tx, written: Written, at_ms: int) -> list[Draft]:
    del tx
    return [Draft(Kind.RAINED, at_ms, data={"mm": written.number("mm")}, note=written.text("note"))]


def _noted(tx: Tx, written: Written, at_ms: int) -> list[Draft]:
    if not written.text("note"):
        raise UsageError("A note needs words.")
    return _of_trays(Kind.NOTED)(tx, written, at_ms)


def _how(written: Written) -> Mapping[str, Any]:
    how = written.text("how")
    if how not in ("", "above", "below"):
        raise UsageError("Water comes from above or from below.")
    return {"how": how or None, "litres": written.number("litres")}


def _count(written: Written) -> Mapping[str, Any]:
    return {"count": written.whole("count")}


def _up(written: Written) -> Mapping[str, Any]:
    return {"count": written.whole("count"), "filled_cells": written.whole("filled")}


def _grams(written: Written) -> Mapping[str, Any]:
    if not written.text("grams"):
        raise UsageError("Say how many grams the tray weighs.")
    return {"grams": written.number("grams")}


DEEDS: Mapping[str, Drafts] = {
    "sowed": _sowed,
    "watered": _of_trays(Kind.WATERED, _how),
    "moved": _moved,
    "emerged": _of_trays(Kind.EMERGED, _up),
    "potted-up": _of_trays(Kind.POTTED_UP, _count),
    "planted-out": _of_trays(Kind.PLANTED_OUT, _count),
    "weighed": _of_trays(Kind.WEIGHED, _grams),
    "levelled": _of_trays(Kind.LEVELLED),
    "vented": _of_a_place(Kind.VENTED),
    "closed": _of_a_place(Kind.CLOSED),
    "rained": _rained,
    "note": _noted,
}
"""What can be written down, by the last part of its address."""
