"""Mixes: what is in them, how fast they dry, how long they stay soaked, and what to change."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from traywarden.domain.garden import Mix, parts_words
from traywarden.domain.mix_advice import Finding
from traywarden.errors import TraywardenError
from traywarden.services.accepting import accepting
from traywarden.services.journal import put
from traywarden.services.moments import parse_moment
from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.mix_advice import MixAdviceAnswer, ask_mix_advice
from traywarden.services.questions.mix_words import (
    MEDIAN_WORDS,
    medians_table,
    pair_lines,
    pair_table,
    soaked_table,
    stretches_table,
    untold_lines,
    waterings_table,
)
from traywarden.services.questions.mixes import MixCompareAnswer, ask_mix_compare
from traywarden.services.questions.moisture import MixCapacity, ask_moisture
from traywarden.services.questions.soaked import SoakedAnswer, ask_soaked
from traywarden.web.asked import Asked, or_why, told
from traywarden.web.charts import CHARTS
from traywarden.web.face import Face
from traywarden.web.mix_asked import DRY_DAYS, SOAKED_DAYS, days_asked, mix_asked, pairs
from traywarden.web.mix_charts import MIX_CHARTS
from traywarden.web.pages import back_to, face_of, page
from traywarden.web.security import form_of
from traywarden.web.writing import Written

CHARTS.update(MIX_CHARTS)
router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)


@dataclass(frozen=True, slots=True)
class Compared:
    """Two mixes and what there is to say of them: an answer, or why there is none."""

    a: int
    b: int
    answer: MixCompareAnswer | None
    why: str


@dataclass(frozen=True, slots=True)
class OfSoil:
    """What the same dryings tell, asked in one go so that they are worked out once."""

    soaked: tuple[SoakedAnswer | None, str]
    advice: tuple[MixAdviceAnswer | None, str]
    two: tuple[Compared, ...]


@router.get("/mixes")
def mixes(request: Request) -> HTMLResponse:
    face, asked = face_of(request), Asked.of(request)
    with face.asking() as on:
        known: dict[str, Any] = {"mixes": _mixes(on), "asked": asked, "problem_with": ""}
        try:
            dry_days, days = (days_asked(asked, usual) for usual in (DRY_DAYS, SOAKED_DAYS))
        except TraywardenError as error:
            known["problem_with"] = str(error)
            asked.pop("days")
            dry_days, days = DRY_DAYS, SOAKED_DAYS
        dry, no_dry = told(face, ("dry-down", dry_days), lambda g: ask_dry_down(g, days=dry_days))
        both = tuple(pairs(dry))
        soil = face.ask(("soil", days, both), lambda g: _of_soil(g, days, both))
        (soaked, no_soaked), (advice, no_advice) = soil.soaked, soil.advice
        known |= {"dry": dry, "no_dry": no_dry, "soaked": soaked, "no_soaked": no_soaked, "two": soil.two}
        if dry is not None:
            names = dict.fromkeys(stretch.mix for stretch in dry.stretches)
            known["medians"] = medians_table(dry)
            known["stretches"] = {
                name: stretches_table([s for s in dry.stretches if s.mix == name]) for name in names
            }
        if soaked is not None:
            known |= {"soaked_table": soaked_table(soaked), "waterings": waterings_table(soaked)}
        known |= {"advice": advice, "no_advice": no_advice, "found": _found(advice)}
        known["untold"] = untold_lines(advice) if advice else []
        known |= {
            "median_words": MEDIAN_WORDS,
            "parts_words": parts_words,
            "dry_days": dry_days,
            "days": days,
            "trays_of": _trays(on),
        }
        known["capacities"] = {each.mix: each for each in _capacities(face)}
        return page(request, on, "mixes.html", title="Mixes", **known)


@router.post("/mixes/accept")
async def accept(request: Request) -> Response:
    """Let a container capacity hold: the one that waterings show, or another that is said, in percent."""
    form = await form_of(request)
    try:
        entry_id = await run_in_threadpool(accept_capacity, face_of(request), Written.of(form))
    except TraywardenError as error:
        return back_to(request, form.get("back"), problem=str(error))
    return back_to(request, form.get("back"), did=[entry_id])


def accept_capacity(face: Face, written: Written) -> int:
    """The number of the entry."""
    value_pct = written.number("capacity")
    with face.asking() as on:
        at_ms = parse_moment(written.text("at"), now_ms=on.now_ms, zone=on.zone).at_ms
        value_m3_m3 = None if value_pct is None else value_pct / 100
        found = accepting(
            on,
            written.text("mix"),
            written.text("tray"),
            value_m3_m3,
            at_ms=at_ms,
            note=written.text("note"),
        )
    with face.store.write() as tx:
        entry = put(tx, found.draft, face.now_ms())
    face.answers.written()
    return entry.entry_id


@router.get("/mixes/compare")
def compare(request: Request) -> HTMLResponse:
    """Which of two mixes dries faster, with all that tells it."""
    face, asked = face_of(request), Asked.of(request)
    with face.asking() as on:
        known: dict[str, Any] = {"a": None, "why": "", "mixes": _mixes(on), "asked": asked}
        try:
            a, b = (mix_asked(on, asked, name) for name in ("a", "b"))
            days = days_asked(asked, SOAKED_DAYS)
        except TraywardenError as error:
            known["why"] = str(error) if asked else ""
        else:
            known["a"], known["why"] = answer, _ = told(
                face, ("mix compare", a, b, days), lambda g: ask_mix_compare(g, a, b, days)
            )
            if answer is not None:
                known |= {"pair": pair_table(answer), "lines": pair_lines(answer)}
        return page(request, on, "mix_compare.html", title="Two mixes", **known)


def _capacities(face: Face) -> tuple[MixCapacity, ...]:
    """What heads show of each mix, as far as any do."""
    found, _ = told(face, ("capacities",), lambda g: ask_moisture(g).mixes)
    return found or ()


def _of_soil(on: Ground, days: float, both: Sequence[tuple[str, str]]) -> OfSoil:
    ids = {mix.name: mix.mix_id for mix in on.mixes.values()}
    compared = [(a, b, or_why(partial(ask_mix_compare, on, a, b, days))) for a, b in both]
    return OfSoil(
        or_why(lambda: ask_soaked(on, days=days)),
        or_why(lambda: ask_mix_advice(on, days=days)),
        tuple(Compared(ids[a], ids[b], *answer) for a, b, answer in compared),
    )


def _mixes(on: Ground) -> list[Mix]:
    """Each with the container capacity that holds now."""
    return [on.facts.mix_as_held(mix, None, on.now_ms) for mix in on.mixes.values()]


def _trays(on: Ground) -> dict[int, list[tuple[int, str]]]:
    """By mix, the trays that are filled with it now."""
    found: dict[int, list[tuple[int, str]]] = {}
    for tray in on.trays.values():
        mix_id = on.facts.mix_of_tray(tray.tray_id, on.now_ms)
        if mix_id is not None:
            found.setdefault(mix_id, []).append((tray.tray_id, tray.name))
    return found


def _found(advice: MixAdviceAnswer | None) -> dict[str, list[Any]]:
    """By mix, what was found of it."""
    found: dict[str, list[Any]] = {}
    for line in advice.lines if advice else ():
        if line.finding != Finding.UNKNOWN:
            found.setdefault(line.mix, []).append(line)
    return found
