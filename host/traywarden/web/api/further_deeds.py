"""Writing from another program what is rarer: corrections, tests of seed, capacities, heads placed."""

from collections.abc import Callable
from typing import Annotated, Literal

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field

from traywarden.domain.journal import Entry, Kind
from traywarden.errors import UsageError, asked, did_you_mean
from traywarden.services.accepting import accepting
from traywarden.services.journal import NUMBERS, Draft, put
from traywarden.services.journal_changes import LEARNED, LEFT_OUT, corrected, fields_of
from traywarden.services.moments import parse_moment
from traywarden.services.questions.moisture import DEFAULT_DAYS
from traywarden.services.setting_up import put_head
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store.store import Tx
from traywarden.web.api.answering import ADDRESS, KNOWN_ALONE, LEAST_DAYS, LONGEST_DAYS, TEXT, answers
from traywarden.web.api.deeds import BIGGEST_NUMBER, Deed, Name, Recorded, number, recorded
from traywarden.web.face import Face
from traywarden.web.pages import face_of

router = APIRouter(prefix=ADDRESS, dependencies=KNOWN_ALONE, tags=["Writing in the journal"])
Words = Annotated[str, Field(max_length=10_000, pattern=TEXT)]
Count = Annotated[float, Field(ge=0, le=1_000_000)]


class Correction(BaseModel):
    """What is to be otherwise in an entry. What is left out stays; null takes a value away."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    at: Annotated[str, Field(max_length=60, pattern=TEXT)] | None = None
    tray: Name | None = None
    place: Name | None = None
    mix: Name | None = None
    crop: Name | None = None
    lot: Name | None = None
    how: Literal["above", "below"] | None = None
    end: Name | None = None
    learn: bool | None = None
    cells: Count | None = None
    seeds_per_cell: Count | None = None
    depth_mm: Count | None = None
    litres: Count | None = None
    count: Count | None = None
    filled_cells: Count | None = None
    mm: Count | None = None
    grams: Count | None = None
    seeds: Count | None = None
    sprouted: Count | None = None
    days: Count | None = None
    container_capacity_m3_m3: Count | None = None
    note: Words | None = None


class LotTested(Deed):
    """Seeds of a lot were laid out to sprout, and counted."""

    lot: Name
    seeds: Annotated[int, number(Kind.TESTED, "seeds")]
    sprouted: Annotated[int, number(Kind.TESTED, "sprouted")]
    days: Annotated[float, number(Kind.TESTED, "days")] | None = None


class CapacityAccepted(Deed):
    """A container capacity is to hold for a mix, in one tray or all: a fraction, or what waterings show."""

    mix: Name
    tray: Name | None = None
    value: Annotated[float, number(Kind.CAPACITY_ACCEPTED, "container_capacity_m3_m3")] | None = None
    days: Annotated[float, Field(ge=LEAST_DAYS, le=LONGEST_DAYS)] = DEFAULT_DAYS


class HeadPlaced(Deed):
    """A head, such as `p1/1`, was put into a tray or hung in a place: one of the two."""

    head: Name
    tray: Name | None = None
    place: Name | None = None
    end: Name | None = None


@router.post("/journal/{entry}/correct", status_code=201)
@answers(Recorded)
def correct(
    request: Request, entry: Annotated[int, Path(ge=1, le=BIGGEST_NUMBER)], change: Correction
) -> Response:
    """Correct an entry: a new one takes its place, and the old words stay to be read."""
    face = face_of(request)
    with face.asking() as on:
        zone = on.zone
        found = next((e for e in journal_store.entries(on.tx) if e.entry_id == entry), None)
        known = [field.name for field in fields_of(on.tx, found, zone)] if found else []
    if found is None:
        raise UsageError(
            f"There is no journal entry {entry}; see their numbers with: traywarden journal list"
        )
    said = {name: _words(value) for name, value in change.model_dump(exclude_unset=True).items()}
    if strange := next((name for name in said if name not in known), None):
        raise UsageError(
            asked(
                f"Entry {entry} ({found.kind}) has no “{strange}” to correct{did_you_mean(strange, known)}."
            )
        )
    with face.store.write() as tx:
        made = corrected(tx, found, said, face.now_ms(), zone)
    face.answers.written()
    return recorded(face, [made])


@router.post("/lots/test", status_code=201)
@answers(Recorded)
def lot_test(request: Request, deed: LotTested) -> Response:
    """Write a germination test of a lot down."""

    def entry(tx: Tx, at_ms: int, now_ms: int) -> Entry:
        lot = garden_store.lot_named(tx, deed.lot)
        data = {name: getattr(deed, name) for name in NUMBERS[Kind.TESTED]}
        return put(
            tx, Draft(Kind.TESTED, at_ms, lot_id=lot.lot_id, data=data, note=deed.note.strip()), now_ms
        )

    return _written(request, deed, entry)


@router.post("/mixes/accept", status_code=201)
@answers(Recorded)
def mix_accept(request: Request, deed: CapacityAccepted) -> Response:
    """Let a container capacity hold for a mix from then on."""
    face = face_of(request)
    with face.asking() as on:
        at_ms = parse_moment(deed.at.strip(), now_ms=on.now_ms, zone=on.zone).at_ms
        found = accepting(
            on, deed.mix, deed.tray or "", deed.value, deed.days, at_ms=at_ms, note=deed.note.strip()
        )
    return _written(request, deed, lambda tx, _, now_ms: put(tx, found.draft, now_ms))


@router.post("/probes/place", status_code=201)
@answers(Recorded)
def probe_place(request: Request, deed: HeadPlaced) -> Response:
    """Write down where a head is: its readings count for that tray or place from then on."""

    def entry(tx: Tx, at_ms: int, now_ms: int) -> Entry:
        return put_head(
            tx,
            deed.head,
            tray=deed.tray or "",
            place=deed.place or "",
            end=deed.end or "",
            note=deed.note.strip(),
            at_ms=at_ms,
            now_ms=now_ms,
        ).entry

    return _written(request, deed, entry)


def _written(request: Request, deed: Deed, entry: Callable[[Tx, int, int], Entry]) -> Response:
    face: Face = face_of(request)
    with face.asking() as on:
        at_ms = parse_moment(deed.at.strip(), now_ms=on.now_ms, zone=on.zone).at_ms
    with face.store.write() as tx:
        made = entry(tx, at_ms, face.now_ms())
    face.answers.written()
    return recorded(face, [made])


def _words(value: object) -> str:
    """A value as a form on a page would say it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return LEARNED if value else LEFT_OUT
    return f"{value:.10g}" if isinstance(value, float) else str(value)
