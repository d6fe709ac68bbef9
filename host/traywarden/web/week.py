"""The week: as a page, and as one file to keep or print."""

import base64
from datetime import date, timedelta

import vl_convert
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from traywarden.domain.units import Display
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.compare import CompareAnswer, CompareAsked, ask_compare
from traywarden.services.questions.days import day_of
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.picture import compare_picture
from traywarden.services.questions.week import DAYS, WeekAnswer, ask_week
from traywarden.web.charts import CHARTS, Chart, Params
from traywarden.web.pages import face_of, filled, page
from traywarden.web.words import PageWords

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)


@router.get("/week")
def week(request: Request) -> HTMLResponse:
    face = face_of(request)
    with face.asking() as on:
        ending = _ending(on, request.query_params)
        try:
            answer = face.ask(("week", ending), lambda ground: ask_week(ground, ending))
        except ShortOfDataError as short:
            return page(request, on, "nothing_yet.html", title="The week", why=str(short))
        after = answer.last_day + timedelta(days=DAYS)
        return page(
            request,
            on,
            "week.html",
            title="The week",
            a=answer,
            before=answer.last_day - timedelta(days=DAYS),
            after=after if after <= answer.at.date() else None,
        )


@router.get("/week/file.html")
def file(request: Request) -> Response:
    """The same as a file that needs nothing beside it; it is kept, not shown."""
    face = face_of(request)
    with face.asking() as on:
        ending = _ending(on, request.query_params)
        answer = face.ask(("week", ending), lambda ground: ask_week(ground, ending))
        text = week_file(answer, on.display)
    headers = {"content-disposition": f'attachment; filename="week-{answer.last_day}.html"'}
    return Response(text, media_type="text/html; charset=utf-8", headers=headers)


def week_file(answer: WeekAnswer, display: Display) -> str:
    """One HTML file. Its charts are pictures in it: what stands in a picture is never run as a script."""
    pictures = []
    for comparison in answer.comparisons:
        drawn = vl_convert.vegalite_to_svg(compare_picture(comparison, display))
        pictures.append((comparison, base64.b64encode(drawn.encode()).decode()))
    return filled("week_file.html", a=answer, w=PageWords(display, answer.at), pictures=pictures)


def _ending(on: Ground, params: Params) -> date | None:
    return day_of(on, params.get("ending", "")[:40])


def compare_chart(on: Ground, params: Params) -> Chart:
    """One covered place against the open one over a week."""
    last = _ending(on, params)
    if last is None or not params.get("a") or not params.get("b"):
        raise UsageError("The chart of a week needs two places and the day it ends with.")
    first = last - timedelta(days=DAYS - 1)
    asked = CompareAsked(params["a"], params["b"], first, last, measured=params.get("measured", ""))
    answer = ask_compare(on, asked)
    return Chart(compare_picture(answer, on.display), answer.sentence, *_table(answer))


def _table(answer: CompareAnswer) -> tuple[list[str], list[list[object]]]:
    a, b = answer.comparison.a, answer.comparison.b
    columns = ["day", *(f"{place} {what} (°C)" for place in (a, b) for what in ("lowest", "mean", "highest"))]
    columns += ["mean difference (°C)", "why blank"]
    sides = ("a_min_c", "a_mean_c", "a_max_c", "b_min_c", "b_mean_c", "b_max_c", "mean_difference_c")
    rows: list[list[object]] = [
        [str(day.day), *(_hundredths(getattr(day, side)) for side in sides), day.reason]
        for day in answer.comparison.days
    ]
    return columns, rows


def _hundredths(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


CHARTS["week-compare"] = compare_chart
