"""Light or dark: by the device, or as the visitor chose."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from traywarden.web.pages import THEMES, back_to
from traywarden.web.security import form_of

router = APIRouter(include_in_schema=False)
YEAR_S = 365 * 86_400


@router.post("/theme")
async def choose(request: Request) -> Response:
    form = await form_of(request)
    response = back_to(request, form.get("back"))
    wanted = form.get("theme")
    if isinstance(wanted, str) and wanted in THEMES:
        response.set_cookie(
            "theme",
            wanted,
            max_age=YEAR_S,
            samesite="strict",
            httponly=True,
            secure=request.app.state.secure,
        )
    return response
