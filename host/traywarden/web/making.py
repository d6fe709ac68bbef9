"""What a garden is made of, from a form into the store: itself, places, mixes, trays, lots, placed heads."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from traywarden.domain.journal import Kind
from traywarden.errors import TraywardenError, UsageError
from traywarden.services.fractions import fraction_from_text
from traywarden.services.journal import Draft, put
from traywarden.services.moments import parse_moment
from traywarden.services.renaming import call_probe, rename
from traywarden.services.setting_up import head_named, make_tray, put_head
from traywarden.store import garden as garden_store
from traywarden.store.crops import crop_named
from traywarden.store.store import Tx
from traywarden.web.face import Face
from traywarden.web.pages import back_to, face_of
from traywarden.web.security import form_of
from traywarden.web.writing import Written

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
MOST_PARTS = 6


@dataclass(frozen=True, slots=True)
class Moments:
    """The garden's now, and when what the form says happened."""

    now_ms: int
    at_ms: int


@dataclass(frozen=True, slots=True)
class Done:
    """One sentence about what was made, or the journal entries that say it themselves."""

    says: str = ""
    did: tuple[int, ...] = ()


Maker = Callable[[Tx, Written, Moments], Done]


@router.post("/make/{what}")
async def make(request: Request, what: str) -> Response:
    """Make or change something. A form comes back to `back`, and where it could not be done to `again`."""
    form = await form_of(request)
    if what not in MAKERS:
        raise UsageError(f"There is nothing called “{what[:40]}” to make.")
    try:
        done = await run_in_threadpool(_make, face_of(request), what, Written.of(form))
    except TraywardenError as error:
        return back_to(request, form.get("again") or form.get("back"), problem=str(error))
    return back_to(request, form.get("back"), did=list(done.did), says=done.says)


def _make(face: Face, what: str, written: Written) -> Done:
    if what == "garden":  # there may be none yet, and so no clock of its own
        moments = Moments(face.now_ms(), face.now_ms())
    else:
        with face.asking() as on:
            at_ms = parse_moment(written.text("at"), now_ms=on.now_ms, zone=on.zone).at_ms
            moments = Moments(face.now_ms(), at_ms)
    with face.store.write() as tx:
        done = MAKERS[what](tx, written, moments)
    face.answers.written()
    return done


def _garden(tx: Tx, written: Written, moments: Moments) -> Done:
    latitude_deg, longitude_deg = written.number("latitude"), written.number("longitude")
    if (latitude_deg is None) != (longitude_deg is None):
        raise UsageError("A position needs both degrees, north and east; give both or neither.")
    made = garden_store.set_garden(
        tx, written.text("name"), written.text("zone"), latitude_deg, longitude_deg, now_ms=moments.now_ms
    )
    return Done(f"The garden is called “{made.name}” and goes by the time of {made.time_zone}.")


def _place(tx: Tx, written: Written, moments: Moments) -> Done:
    del moments
    covered = {"": None, "yes": True, "no": False}.get(written.text("covered"))
    made = garden_store.add_place(
        tx, written.text("name"), written.text("kind"), covered, written.text("note")
    )
    rain = "rain is kept off there" if made.covered else "rain reaches it"
    return Done(f"Place “{made.name}” ({made.kind}) is there; {rain}.")


def _mix(tx: Tx, written: Written, moments: Moments) -> Done:
    del moments
    capacity_m3_m3, dry_line_m3_m3 = _percent(written, "capacity"), _percent(written, "dry_line")
    if capacity_m3_m3 is None:
        capacity_m3_m3 = garden_store.CONTAINER_CAPACITY_M3_M3
    parts = parts_of(written)
    made = garden_store.add_mix(
        tx, written.text("name"), parts, capacity_m3_m3, dry_line_m3_m3, written.text("note")
    )
    return Done(f"Mix “{made.name}” is there.")


def _mix_changed(tx: Tx, written: Written, moments: Moments) -> Done:
    del moments
    made = garden_store.change_mix(
        tx,
        written.text("name"),
        parts=parts_of(written),
        container_capacity_m3_m3=_percent(written, "capacity"),
        dry_line_m3_m3=_percent(written, "dry_line"),
        note=written.text("note"),
    )
    return Done(f"Mix “{made.name}” is changed, and numbers for the past are computed anew with it.")


def parts_of(written: Written) -> dict[str, float]:
    """The recipe, row by row; a part without a number counts 1."""
    parts: dict[str, float] = {}
    for row in range(1, MOST_PARTS + 1):
        name = written.text(f"part{row}")
        if not name:
            continue
        if name in parts:
            raise UsageError(f"The part “{name}” is there twice; write it once.")
        share = written.number(f"share{row}")
        parts[name] = 1.0 if share is None else share
    if not parts:
        raise UsageError("A mix needs at least one part, such as coir.")
    return parts


def _percent(written: Written, field: str) -> float | None:
    value = written.number(field)
    return None if value is None else value / 100.0


def _tray(tx: Tx, written: Written, moments: Moments) -> Done:
    made = make_tray(
        tx,
        written.text("name"),
        written.text("mix"),
        written.text("place"),
        cells=written.whole("cells"),
        litres=written.number("litres"),
        note=written.text("note"),
        at_ms=moments.at_ms,
        now_ms=moments.now_ms,
    )
    return Done(
        f"Tray “{made.tray.name}” is filled with “{made.mix.name}” and stands in “{made.place.name}”."
    )


def _refill(tx: Tx, written: Written, moments: Moments) -> Done:
    tray = garden_store.tray_named(tx, written.text("tray"))
    mix = garden_store.mix_named(tx, written.text("mix"))
    draft = Draft(
        Kind.FILLED, moments.at_ms, tray_id=tray.tray_id, mix_id=mix.mix_id, note=written.text("note")
    )
    return Done(did=(put(tx, draft, moments.now_ms).entry_id,))


def _lot(tx: Tx, written: Written, moments: Moments) -> Done:
    del moments
    share, tested = fraction_from_text(written.text("germination")), bool(written.text("tested"))
    if tested and share is None:
        raise UsageError("A tested lot needs the result: the share that came up, such as 85 %.")
    made = garden_store.add_lot(
        tx,
        written.text("name"),
        crop_named(written.text("crop")).key,
        share,
        tested,
        written.whole("seeds"),
        written.number("price"),
        written.text("note"),
    )
    return Done(f"Lot “{made.name}” is there.")


def _lot_tested(tx: Tx, written: Written, moments: Moments) -> Done:
    lot = garden_store.lot_named(tx, written.text("lot"))
    data = {name: written.whole(name) for name in ("seeds", "sprouted")} | {"days": written.number("days")}
    draft = Draft(Kind.TESTED, moments.at_ms, lot_id=lot.lot_id, data=data, note=written.text("note"))
    return Done(did=(put(tx, draft, moments.now_ms).entry_id,))


def _lot_packed(tx: Tx, written: Written, moments: Moments) -> Done:
    lot = garden_store.lot_named(tx, written.text("lot"))
    draft = Draft(Kind.PACKED, moments.at_ms, lot_id=lot.lot_id, note=written.text("note"))
    return Done(did=(put(tx, draft, moments.now_ms).entry_id,))


def _head(tx: Tx, written: Written, moments: Moments) -> Done:
    """Where a head is: `where` is “tray NAME” or “place NAME”."""
    kind, _, name = written.text("where").partition(" ")
    if kind not in ("tray", "place") or not name:
        raise UsageError("Choose where the head is: a tray, or a place for an air sensor.")
    done = put_head(
        tx,
        written.text("head"),
        tray=name if kind == "tray" else "",
        place=name if kind == "place" else "",
        end=written.text("end"),
        note=written.text("note"),
        at_ms=moments.at_ms,
        now_ms=moments.now_ms,
    )
    says = ""
    if done.homeless and done.tray is not None:
        says = (
            f"Where tray “{done.tray.name}” stood then is not known, so the head's readings count for no "
            "place until you write that down: move the tray, with the day it came there."
        )
    return Done(says, (done.entry.entry_id,))


def _rename(tx: Tx, written: Written, moments: Moments) -> Done:
    entry = rename(tx, written.text("noun"), written.text("name"), written.text("new"), moments.now_ms)
    return Done(did=(entry.entry_id,))


def _probe_called(tx: Tx, written: Written, moments: Moments) -> Done:
    del moments
    probe = call_probe(tx, written.text("name"), written.text("new"))
    return Done(f"Probe {probe.name} is called “{probe.called}” on pages and in notices.")


def _head_out(tx: Tx, written: Written, moments: Moments) -> Done:
    head = head_named(tx, written.text("head"))
    draft = Draft(Kind.HEAD_TAKEN_OUT, moments.at_ms, head_id=head.head_id, note=written.text("note"))
    return Done(did=(put(tx, draft, moments.now_ms).entry_id,))


MAKERS: Mapping[str, Maker] = {
    "garden": _garden,
    "place": _place,
    "mix": _mix,
    "mix-changed": _mix_changed,
    "tray": _tray,
    "refill": _refill,
    "lot": _lot,
    "lot-tested": _lot_tested,
    "lot-packed": _lot_packed,
    "head": _head,
    "head-out": _head_out,
    "rename": _rename,
    "probe-called": _probe_called,
}
"""What can be made, by the last part of its address."""
