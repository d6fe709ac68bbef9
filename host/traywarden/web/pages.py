"""Templates filled for a visitor: navigation, the form token, what was just written."""

from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from itertools import groupby
from pathlib import Path
from typing import Any, TypeVar

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.datastructures import FormData

from traywarden.domain.journal import Kind, replacements
from traywarden.domain.notice_words import rule_words
from traywarden.domain.notices import takes_words
from traywarden.domain.severities import SEVERITIES
from traywarden.services.journal_words import EntryLine, entry_lines
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.notices import NoticeLine
from traywarden.store import journal as journal_store
from traywarden.web.face import Face
from traywarden.web.live import made_at
from traywarden.web.phrases import in_plain_words, on_a_page
from traywarden.web.refused import filled_in
from traywarden.web.security import form_token
from traywarden.web.words import PageWords

T = TypeVar("T")
FOLDER = Path(str(files("traywarden") / "dashboards"))
THEMES = ("by the device", "light", "dark")
MOST_DID = 50


@dataclass(frozen=True, slots=True)
class NavLink:
    path: str
    name: str


NAVIGATION: list[NavLink] = [
    NavLink("/", "Now"),
    NavLink("/trays", "Trays"),
    NavLink("/places", "Places"),
    NavLink("/mixes", "Mixes"),
    NavLink("/sowings", "Sowings"),
    NavLink("/probes", "Probes"),
    NavLink("/journal", "Journal"),
    NavLink("/settings", "Settings"),
]
"""In the order in which a grower asks; every page adds its own line in `app.py`."""


def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(FOLDER / "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["themes"] = THEMES
    made.filters["by_place"] = _by_place
    made.filters["by_day"] = _by_day
    made.filters["groupby_day"] = _made_by_day
    made.filters["rule_words"] = rule_words
    made.filters["choice_words"] = _choice_words
    made.filters["on_a_page"] = on_a_page
    made.filters["in_plain_words"] = in_plain_words
    return made


def _choice_words(choice: str) -> str:
    """A value to choose in the settings as a grower says it."""
    return takes_words(choice) if choice in SEVERITIES else choice


def _by_place(rows: Iterable[T]) -> list[tuple[str, list[T]]]:
    """Rows under the place each stands in, places by name; those in none first."""
    groups: dict[str, list[T]] = {}
    for row in rows:
        groups.setdefault(getattr(row, "place", None) or "", []).append(row)
    return sorted(groups.items())


def _by_day(lines: Iterable[EntryLine]) -> list[list[EntryLine]]:
    """Lines of one day together, in the order they came in."""
    return [list(of_day) for _, of_day in groupby(lines, key=lambda line: line.at[:10])]


def _made_by_day(lines: Iterable[NoticeLine], w: PageWords) -> list[tuple[str, list[NoticeLine]]]:
    """Notices under the day each was made, in the order they came in."""
    return [(day, list(of_day)) for day, of_day in groupby(lines, key=lambda line: w.date(line.created_ms))]


_ENVIRONMENT = _environment()


def page(request: Request, on: Ground, template: str, **context: Any) -> HTMLResponse:
    """A page of the garden as `on` knows it."""
    known: dict[str, Any] = {
        "garden": on.garden.name,
        "now": on.at(on.now_ms),
        "w": PageWords(on.display, on.at(on.now_ms)),
        "did": _did(request, on),
    }
    return bare_page(request, template, **known, **context)


def bare_page(request: Request, template: str, *, status: int = 200, **context: Any) -> HTMLResponse:
    """A page that needs no garden."""
    known = {"garden": "", "now": None, "w": None, "did": [], "navigation": NAVIGATION} | context
    text = _ENVIRONMENT.get_template(template).render(
        path=request.url.path,
        made_at=made_at(request),
        here=_here(request),
        theme=_theme(request),
        form_token=form_token(request),
        problem=request.session.pop("problem", ""),
        problem_under=request.session.pop("problem_under", ""),
        signed_in="signed" in request.session,
        just_done=request.session.pop("says", ""),
        **known,
    )
    sent = request.app.state.refused.take(request.session.pop("refused", ""))
    return HTMLResponse(text if sent is None else filled_in(text, sent), status_code=status)


def filled(template: str, **context: Any) -> str:
    """A template that is no page of the host, such as a file to keep."""
    return _ENVIRONMENT.get_template(template).render(**context)


def _theme(request: Request) -> str:
    asked = request.cookies.get("theme", THEMES[0])
    return asked if asked in THEMES else THEMES[0]


def _here(request: Request) -> str:
    """This page with what was asked of it, without what was just written: where a form comes back to."""
    kept = request.url.remove_query_params(["did"])
    return kept.path + (f"?{kept.query}" if kept.query else "")


def _did(request: Request, on: Ground) -> list[EntryLine]:
    """What was just written, as long as it holds."""
    numbers = {int(n) for n in request.query_params.get("did", "").split(",")[:MOST_DID] if n.isdigit()}
    if not numbers:
        return []
    entries = journal_store.entries(on.tx)
    by = replacements(entries)
    mine = [e for e in entries if e.entry_id in numbers and e.kind is not Kind.UNDONE]
    return [line for line in entry_lines(on.tx, mine, by, on.zone, on.display) if line.state == "holds"]


def back_to(
    request: Request,
    back: object,
    *,
    did: list[int] | None = None,
    problem: str = "",
    says: str = "",
    under: str = "",
) -> Response:
    """Where a form came from, so that going back or loading anew writes nothing twice."""
    path = (
        back if isinstance(back, str) and back.startswith("/") and not back.startswith(("//", "/\\")) else "/"
    )
    if problem:
        request.session["problem"] = problem
        request.session["problem_under"] = under
        _keep_form(request)
    if says:
        request.session["says"] = says
    if did:
        path += ("&" if "?" in path else "?") + "did=" + ",".join(str(n) for n in did)
    return RedirectResponse(path, status_code=303)


def _keep_form(request: Request) -> None:
    """What was typed, for the page that the refusal is told on."""
    form = getattr(request, "_form", None)  # read already, by `form_of`
    if isinstance(form, FormData):
        fields = [(name, value) for name, value in form.multi_items() if isinstance(value, str)]
        if token := request.app.state.refused.keep(request.url.path, fields):
            request.session["refused"] = token


def face_of(request: Request) -> Face:
    found: Face = request.app.state.face
    return found
