"""Charts of pages: one specification for the browser, as a picture file, and as the table behind it.

A page's module adds its charts to CHARTS; a template shows one with the macro in `charts.html`.
"""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from html import escape
from textwrap import wrap
from typing import Any

import vl_convert
from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.plain import plain
from traywarden.services.questions.ground import Ground
from traywarden.web.narrow import ASKED, WHOLE_PX, narrowed
from traywarden.web.pages import face_of, page
from traywarden.web.phrases import in_plain_words

router = APIRouter(include_in_schema=False)
Params = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Chart:
    """A filled Vega-Lite specification, what it shows in words, and the numbers behind it, row by row.

    `columns` name their units: they are the heads of the table and of the CSV file.
    """

    spec: Mapping[str, Any]
    says: str
    columns: Sequence[str]
    rows: Sequence[Sequence[Any]]


Maker = Callable[[Ground, Params], Chart]
CHARTS: dict[str, Maker] = {}
"""By the name in the address. A maker raises UsageError or ShortOfDataError as a question does."""

FORMATS = {
    "json": "application/json",
    "svg": "image/svg+xml",
    "png": "image/png",
    "csv": "text/csv; charset=utf-8",
    "html": "text/html; charset=utf-8",
}
PNG_SCALE = 2.0
LETTERS, LINE_PX = 78, 22


@router.get("/charts/{name}.{kind}")
def chart(request: Request, name: str, kind: str) -> Response:
    """The chart called `name` as one of FORMATS; what it is of stands behind the question mark."""
    face = face_of(request)
    maker = CHARTS.get(name)
    if maker is None or kind not in FORMATS:
        raise UsageError(f"There is no chart “{name[:40]}.{kind[:10]}” here.")
    asked = dict(request.query_params)
    narrow = bool(asked.pop(ASKED, ""))
    try:
        made = face.ask(("chart", name, tuple(sorted(asked.items()))), lambda on: maker(on, asked))
    except ShortOfDataError as short:
        if kind == "json":
            return JSONResponse({"why": in_plain_words(str(short))})
        if kind == "svg":
            return Response(words_drawn(in_plain_words(str(short)), narrow=narrow), media_type=FORMATS[kind])
        raise
    if kind == "json":
        return JSONResponse(_spec(made, narrow=narrow))
    if kind == "html":
        with face.asking() as on:
            return page(
                request, on, "chart_table.html", title="Table", chart=made, address=_address(request, name)
            )
    if kind == "csv":
        body: str | bytes = as_csv(made)
    elif kind == "svg":
        body = vl_convert.vegalite_to_svg(_spec(made, narrow=narrow))
    else:
        body = vl_convert.vegalite_to_png(_spec(made, narrow=narrow), scale=PNG_SCALE)
    headers = {"content-disposition": f'inline; filename="{name}.{kind}"'}
    return Response(body, media_type=FORMATS[kind], headers=headers)


def _spec(made: Chart, *, narrow: bool) -> dict[str, Any]:
    spec: dict[str, Any] = plain(made.spec)
    return narrowed(spec) if narrow else spec


def words_drawn(words: str, *, narrow: bool = False) -> str:
    """A picture of a sentence: why there is no chart yet, in its place on the page."""
    width = WHOLE_PX if narrow else 640
    lines = wrap(words, LETTERS * width // 640)
    texts = "".join(
        f'<text x="16" y="{LINE_PX * (n + 1) + 4}">{escape(line)}</text>' for n, line in enumerate(lines)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{LINE_PX * (len(lines) + 1)}" '
        f'font-family="sans-serif" font-size="15" fill="#4b564f">{texts}</svg>'
    )


def as_csv(made: Chart) -> str:
    """The table as a file that a spreadsheet opens; a cell is never taken for a formula."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(made.columns)
    for row in made.rows:
        writer.writerow([_cell(value) for value in row])
    return out.getvalue()


def _cell(value: Any) -> Any:
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return f"'{value}"
    return value.isoformat() if isinstance(value, datetime) else plain(value)


def _address(request: Request, name: str) -> str:
    query = request.url.query
    return f"/charts/{name}.csv" + (f"?{query}" if query else "")


@cache
def bundle() -> str:
    """Vega, Vega-Lite and Vega-Embed as one script, carried by vl-convert: nothing comes from outside."""
    script: str = vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;")
    return script


@router.get("/scripts-of-charts.js")
def charts_script() -> Response:
    headers = {"cache-control": "max-age=86400"}
    return Response(bundle(), media_type="text/javascript; charset=utf-8", headers=headers)
