"""Everything of the garden to take away: a data package, as it is read."""

from collections.abc import Iterator

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response, StreamingResponse

from traywarden.services.download.package import Form, Span, span_asked, zipped
from traywarden.services.questions.days import day_of
from traywarden.services.questions.ground import Ground
from traywarden.web.face import Face
from traywarden.web.pages import face_of, page

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)


@router.get("/download")
def download(request: Request) -> HTMLResponse:
    with face_of(request).asking() as on:
        return page(request, on, "download.html", title="Download", span=span_asked(on, None, None))


@router.get("/download/garden.zip")
def package(request: Request) -> Response:
    """The package of the days asked for, sent while it is read."""
    face, asked = face_of(request), request.query_params
    with face.asking() as on:
        span = _span(on, asked.get("from", ""), asked.get("to", ""))
        form = Form.PARQUET if asked.get("form") == Form.PARQUET else Form.CSV
        name = f"{on.garden.slug}-{span.first}-to-{span.last}{'-parquet' if form is Form.PARQUET else ''}.zip"
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return StreamingResponse(_sent(face, span, form), media_type="application/zip", headers=headers)


def _span(on: Ground, start: str, end: str) -> Span:
    return span_asked(on, day_of(on, start[:40]), day_of(on, end[:40]))


def _sent(face: Face, span: Span, form: Form) -> Iterator[bytes]:
    with face.asking() as on:
        yield from zipped(on, span, form=form)
