"""Calibrating a head step by step, with its volts as they come; a curve from weighings; a whole mix.

What was taken so far stands in the address, so that it can be left and come back to, and nothing is written
before the last step.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from traywarden.domain.garden import Head, Mix
from traywarden.domain.journal import Kind
from traywarden.errors import ShortOfDataError, TraywardenError, UsageError
from traywarden.services.calibrating import (
    DRY_MIX_M3_M3,
    HeadVolts,
    WeighedCurve,
    container_capacity_m3_m3,
    head_volts,
    recent_volts,
    two_points,
    weigh_pot,
    weighed_curve,
    write_calibration,
)
from traywarden.services.moments import parse_moment
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.setting_up import head_named
from traywarden.store import garden as garden_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Tx
from traywarden.web.face import Face
from traywarden.web.pages import back_to, face_of, page
from traywarden.web.probes import no_such_probe
from traywarden.web.security import form_of
from traywarden.web.writing import Written

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
BACK_MS = 30 * 60_000
"""Readings of the last half hour count, and none from before the step began."""
WEIGHED_DAYS = 30


@dataclass(frozen=True, slots=True)
class Taken:
    """What the address holds: when the step began [ms], and volts taken so far."""

    since_ms: int | None
    dry_v: float | None
    wet_v: float | None

    @property
    def step(self) -> str:
        return "dry" if self.dry_v is None else "wet" if self.wet_v is None else "write"


@router.get("/probes/heads/{head_id}")
def calibrate(
    request: Request,
    head_id: int,
    since: int | None = None,
    dry_volts: float | None = None,
    wet_volts: float | None = None,
    pot_litres: str = "",
    dry_grams: str = "",
) -> Response:
    taken = Taken(since, dry_volts, wet_volts)
    with face_of(request).asking() as on:
        head = next((h for h in probe_store.heads(on.tx) if h.head_id == head_id), None)
        if head is None:
            return no_such_probe(request)
        tray = on.trays.get(on.facts.tray_of_head(head_id, on.now_ms) or -1)
        mix = on.mix_of(tray.tray_id, on.now_ms) if tray else None
        curve, no_curve = _curve(on, head, pot_litres, dry_grams)
        return page(
            request,
            on,
            "calibrate.html",
            title=f"Calibrate {head.label}",
            head=head,
            probe_id=next(p.probe_id for p in probe_store.probes(on.tx) if p.name == head.probe),
            tray=tray,
            mix=mix,
            mixes=sorted(m.name for m in on.mixes.values()),
            taken=taken,
            volts=_volts(on, head, taken.since_ms),
            now_ms=on.now_ms,
            dry_pct=DRY_MIX_M3_M3 * 100,
            wet_pct=container_capacity_m3_m3(on.tx, head, on.now_ms) * 100,
            standing=_standing(on, head),
            mix_standing=any(e.kind is Kind.CALIBRATED and e.mix_id for e in on.facts.entries),
            weighings=_weighings(on, head),
            curve=curve,
            no_curve=no_curve,
            pot_litres=pot_litres,
            dry_grams=dry_grams,
            days=WEIGHED_DAYS,
        )


def _volts(on: Ground, head: Head, since_ms: int | None) -> HeadVolts:
    """Those of the step; before it began, the newest reading alone: the head was elsewhere before."""
    start_ms = max(on.now_ms - BACK_MS, since_ms or 0)
    if since_ms is None:
        times_ms = reading_store.columns(on.tx, head.head_id, start_ms, on.now_ms + 1).time_ms
        start_ms = int(times_ms[-1]) if times_ms.size else start_ms
    return head_volts(head, recent_volts(on.tx, head, start_ms, on.now_ms + 1))


def _standing(on: Ground, head: Head) -> list[str]:
    """Calibrations of the head itself that stand in the journal, as days."""
    return [
        f"{on.at(e.at_ms):%Y-%m-%d}"
        for e in on.facts.entries
        if e.kind is Kind.CALIBRATED and e.head_id == head.head_id
    ]


def _weighings(on: Ground, head: Head) -> int:
    since_ms = on.now_ms - WEIGHED_DAYS * DAY_MS
    return sum(
        1
        for e in on.facts.entries
        if e.kind is Kind.WEIGHED and e.head_id == head.head_id and e.at_ms >= since_ms
    )


def _curve(on: Ground, head: Head, pot_litres: str, dry_grams: str) -> tuple[WeighedCurve | None, str]:
    """The curve to be looked at before it is written; or why there is none."""
    if not (pot_litres and dry_grams):
        return None, ""
    try:
        return _made_curve(on, head, Written({"pot_litres": pot_litres, "dry_grams": dry_grams}, ())), ""
    except (ShortOfDataError, UsageError) as error:
        return None, str(error)


def _made_curve(on: Ground, head: Head, written: Written) -> WeighedCurve:
    litres, grams = written.number("pot_litres"), written.number("dry_grams")
    if litres is None or grams is None or litres <= 0 or grams < 0:
        raise UsageError("A curve needs the litres of mix in the pot and its weight when dry.")
    start_ms = on.now_ms - WEIGHED_DAYS * DAY_MS
    return weighed_curve(on.facts, head, start_ms, on.now_ms, on.zone, mix_litres=litres, dry_grams=grams)


Deed = Callable[[Face, Written], int]


@router.post("/calibrate/{what}")
async def write(request: Request, what: str) -> Response:
    form = await form_of(request)
    if what not in DEEDS:
        raise UsageError(f"There is nothing called “{what[:40]}” in calibrating.")
    face = face_of(request)
    try:
        did = await run_in_threadpool(DEEDS[what], face, Written.of(form))
    except TraywardenError as error:
        return back_to(request, form.get("again") or form.get("back"), problem=str(error))
    face.answers.written()
    return back_to(request, form.get("back"), did=[did])


def _two_point(face: Face, written: Written) -> int:
    with face.asking() as on:
        at_ms = parse_moment(written.text("at"), now_ms=on.now_ms, zone=on.zone).at_ms
    dry_v, wet_v = written.number("dry_volts"), written.number("wet_volts")
    if dry_v is None or wet_v is None:
        raise UsageError("Two points are needed: the volts in air-dry and in drained mix.")
    with face.store.write() as tx:
        head, mix = _head(tx, written), _holds_for(tx, written)
        if head is None and mix is None:
            raise UsageError("Say what to calibrate: a head, or a mix.")
        dry, wet = written.number("dry"), written.number("wet")
        if wet is None:
            wet = 100 * (mix.container_capacity_m3_m3 if mix else container_capacity_m3_m3(tx, head, at_ms))
        points = two_points(dry_v, wet_v, DRY_MIX_M3_M3 if dry is None else dry / 100, wet / 100)
        return write_calibration(
            tx,
            points,
            at_ms,
            face.now_ms(),
            head=head,
            mix=mix,
            note=written.text("note"),
            redo=bool(written.text("redo")),
        ).entry_id


def _weigh(face: Face, written: Written) -> int:
    grams = written.number("grams")
    if grams is None:
        raise UsageError("Say how many grams the pot weighs.")
    with face.asking() as on:
        at_ms = parse_moment(written.text("at"), now_ms=on.now_ms, zone=on.zone).at_ms
    with face.store.write() as tx:
        return weigh_pot(
            tx,
            head_named(tx, written.text("head")),
            grams,
            written.number("volts"),
            at_ms,
            face.now_ms(),
            back_ms=BACK_MS,
            note=written.text("note"),
        ).entry_id


def _write_curve(face: Face, written: Written) -> int:
    with face.asking() as on:
        head = head_named(on.tx, written.text("head"))
        curve, at_ms = _made_curve(on, head, written), on.now_ms
    with face.store.write() as tx:
        return write_calibration(
            tx,
            curve.curve,
            at_ms,
            face.now_ms(),
            head=head,
            mix=_holds_for(tx, written),
            redo=bool(written.text("redo")),
        ).entry_id


def _head(tx: Tx, written: Written) -> Head | None:
    return head_named(tx, written.text("head")) if written.text("head") else None


def _holds_for(tx: Tx, written: Written) -> Mix | None:
    return garden_store.mix_named(tx, written.text("mix")) if written.text("mix") else None


DEEDS: Mapping[str, Deed] = {"two-point": _two_point, "weigh": _weigh, "curve": _write_curve}
"""What calibrating writes, by the last part of its address."""
