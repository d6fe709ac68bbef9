"""How batches did: all of them, groups held against each other, and one or two in full."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.services.questions.batch import BatchAnswer, ask_batch
from traywarden.services.questions.batch_figures import figure_rows
from traywarden.services.questions.batch_picture import COUNT_COLUMNS, batch_picture, count_rows
from traywarden.services.questions.batches import BY, BatchesAnswer, BatchRow, ask_batches
from traywarden.services.questions.days import day_of
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.group_words import group_sentences, half_words
from traywarden.store.crops import crop_name
from traywarden.web.charts import CHARTS, Chart, Params
from traywarden.web.pages import face_of, page

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)


@router.get("/sowings/batches")
def batches(request: Request, crop: str = "", by: str = "", start: str = "", end: str = "") -> HTMLResponse:
    face = face_of(request)
    asked = {"crop": crop, "by": by, "start": start, "end": end}
    answer: BatchesAnswer | None = None
    why = ""
    with face.asking() as on:
        try:
            answer = face.ask(("batches", *asked.values()), lambda ground: _asked(ground, asked))
        except (ShortOfDataError, UsageError, UnknownNameError) as short:
            why = str(short)
        return page(
            request,
            on,
            "batches.html",
            title="How batches did",
            a=answer,
            why=why,
            asked=asked,
            groupings=list(BY),
            crops=_sown_crops(on),
            says=group_sentences(answer) if answer else [],
            name_of=batch_name,
            half=half_words,
        )


@router.get("/sowings/batch")
def batch(request: Request, tray: str, other: str = "") -> HTMLResponse:
    """One batch, or two compared; each named as TRAY or TRAY@DAY."""
    face = face_of(request)
    other = other if other != tray else ""
    with face.asking() as on:
        answer = face.ask(("batch", tray, other), lambda ground: ask_batch(ground, tray, other))
        cards = [card for card in (answer.first, answer.second) if card is not None]
        known = face.ask(("batches", "", "", "", ""), ask_batches)
        return page(
            request,
            on,
            "batch.html",
            title=" and ".join(card.name for card in cards),
            a=answer,
            cards=cards,
            figures=figure_rows(cards),
            tray=tray,
            others=[
                (name, f"{row.tray}, sown {row.sown_at.day} {row.sown_at:%B %Y}")
                for row in known.batches
                if (name := batch_name(row)) != tray
            ],
        )


def batch_name(row: BatchRow) -> str:
    """As `ask_batch` finds it again: the tray and the day it was sown."""
    return f"{row.tray}@{row.sown_at:%Y-%m-%d}"


def _asked(on: Ground, asked: Params) -> BatchesAnswer:
    start, end = day_of(on, asked["start"]), day_of(on, asked["end"])
    return ask_batches(on, crop=asked["crop"], by=asked["by"], start=start, end=end)


def _sown_crops(on: Ground) -> list[str]:
    """Names of what was ever sown here, to choose from."""
    keys = {str(entry.data["crop"]) for entry in on.facts.entries if entry.data.get("crop")}
    return sorted(crop_name(key) for key in keys)


def _batch_chart(on: Ground, params: Params) -> Chart:
    tray = params.get("tray", "")
    if not tray:
        raise UsageError("Say which batch is to be drawn, as ?tray=A1@2026-03-20.")
    answer: BatchAnswer = ask_batch(on, tray, params.get("other", ""))
    says = " ".join(answer.sentences) or answer.first.sentence
    return Chart(batch_picture(answer), says, COUNT_COLUMNS, count_rows(answer))


CHARTS["batch"] = _batch_chart
