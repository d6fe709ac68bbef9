"""Writing in the journal from another program: every deed, and taking it back."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Path, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field

from traywarden.domain.journal import Entry, Kind
from traywarden.services.journal import NUMBERS, undo
from traywarden.services.journal_words import EntryLine, entry_lines
from traywarden.services.plain import json_text
from traywarden.store import journal as journal_store
from traywarden.web.api.answering import ADDRESS, KNOWN_ALONE, TEXT, answers, as_json
from traywarden.web.face import Face
from traywarden.web.pages import face_of
from traywarden.web.writing import DEEDS, Written, put_down

router = APIRouter(prefix=ADDRESS, dependencies=KNOWN_ALONE, tags=["Writing in the journal"])
MOST_TRAYS = 200
BIGGEST_NUMBER = 2**31 - 1
Name = Annotated[str, Field(min_length=1, max_length=200, pattern=TEXT)]


def number(kind: Kind, name: str, **how: Any) -> Any:
    """A field with the bounds the journal has for it."""
    low, high = NUMBERS[kind][name]
    return Field(ge=low, le=high, **how)


class Deed(BaseModel):
    """What every deed may say: when, in the garden's zone (default now), and anything to remember."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    at: Annotated[str, Field(max_length=60, pattern=TEXT)] = ""
    note: Annotated[str, Field(max_length=10_000, pattern=TEXT)] = ""


class OfTrays(Deed):
    """The same for every tray that is named: all of it is written, or none."""

    trays: Annotated[list[Name], Field(min_length=1, max_length=MOST_TRAYS)]


class Sowed(OfTrays):
    """Seed was sown: of a `lot`, or of a `crop`."""

    deed: Literal["sowed"]
    crop: Name | None = None
    lot: Name | None = None
    cells: Annotated[int, number(Kind.SOWED, "cells")] | None = None
    seeds_per_cell: Annotated[float, number(Kind.SOWED, "seeds_per_cell")] | None = None
    depth_mm: Annotated[float, number(Kind.SOWED, "depth_mm")] | None = None


class Watered(OfTrays):
    deed: Literal["watered"]
    how: Literal["above", "below"] | None = None
    litres: Annotated[float, number(Kind.WATERED, "litres")] | None = None


class Moved(OfTrays):
    deed: Literal["moved"]
    to: Name


class Emerged(OfTrays):
    """Seedlings up so far, all of them; and, where they were counted, the cells that hold one."""

    deed: Literal["emerged"]
    count: Annotated[int, number(Kind.EMERGED, "count")] | None = None
    filled: Annotated[int, number(Kind.EMERGED, "filled_cells")] | None = None


class PottedUp(OfTrays):
    deed: Literal["potted-up"]
    count: Annotated[int, number(Kind.POTTED_UP, "count")] | None = None


class PlantedOut(OfTrays):
    deed: Literal["planted-out"]
    count: Annotated[int, number(Kind.PLANTED_OUT, "count")] | None = None


class Weighed(OfTrays):
    deed: Literal["weighed"]
    grams: Annotated[float, number(Kind.WEIGHED, "grams")]


class Levelled(OfTrays):
    deed: Literal["levelled"]


class Vented(Deed):
    deed: Literal["vented"]
    place: Name


class Closed(Deed):
    deed: Literal["closed"]
    place: Name


class Rained(Deed):
    deed: Literal["rained"]
    mm: Annotated[float, number(Kind.RAINED, "mm")] | None = None


class Noted(OfTrays):
    deed: Literal["note"]
    note: Annotated[str, Field(min_length=1, max_length=10_000, pattern=TEXT)]


AnyDeed = Annotated[
    Sowed
    | Watered
    | Moved
    | Emerged
    | PottedUp
    | PlantedOut
    | Weighed
    | Levelled
    | Vented
    | Closed
    | Rained
    | Noted,
    Body(discriminator="deed"),
]


@dataclass(frozen=True, slots=True)
class Recorded:
    """The entries that were written; each `entry` is the number that takes it back."""

    entries: tuple[EntryLine, ...]


@router.post("/journal", status_code=201)
@answers(Recorded)
def write(request: Request, deed: AnyDeed) -> Response:
    """Write a deed down, in the words of its command: watered, moved, emerged …"""
    face = face_of(request)
    numbers = put_down(face, DEEDS[deed.deed], _written(deed))
    with face.asking() as on:
        written = [entry for entry in journal_store.entries(on.tx) if entry.entry_id in numbers]
    return recorded(face, written)


@router.post("/journal/{entry}/undo", status_code=201)
@answers(Recorded)
def take_back(request: Request, entry: Annotated[int, Path(ge=1, le=BIGGEST_NUMBER)]) -> Response:
    """Take an entry back. Undoing the undo brings it back."""
    face = face_of(request)
    with face.store.write() as tx:
        made = undo(tx, entry, face.now_ms())
    face.answers.written()
    return recorded(face, [made])


def _written(deed: Deed) -> Written:
    """The deed as a form on a page would say it."""
    said = deed.model_dump(exclude_none=True, exclude={"deed", "trays"})
    fields = {name: value.strip() if isinstance(value, str) else repr(value) for name, value in said.items()}
    trays = dict.fromkeys(name.strip() for name in deed.trays) if isinstance(deed, OfTrays) else ()
    return Written(fields, tuple(trays))


def recorded(face: Face, entries: Sequence[Entry]) -> Response:
    with face.asking() as on:
        lines = tuple(entry_lines(on.tx, entries, {}, on.zone, on.display))
    return as_json(json_text(Recorded(lines)), status=201)
