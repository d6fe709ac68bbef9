"""Weather of the open air from elsewhere: what is known, and files read in step by step."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import UploadFile

from traywarden.errors import ShortOfDataError, TraywardenError, UsageError
from traywarden.services.moments import parse_moment
from traywarden.services.outside_import import import_forecast, import_weather
from traywarden.services.outside_preview import FileLook, Preview, choices, look_into, preview
from traywarden.services.questions.outside import ForecastShown, ask_forecast, ask_weather
from traywarden.services.stamps import offset_s_from
from traywarden.services.uploads import forget_upload, keep_upload, upload
from traywarden.store import garden as garden_store
from traywarden.store import outside as outside_store
from traywarden.store.zones import zone_names
from traywarden.web.face import Face
from traywarden.web.pages import back_to, face_of, page
from traywarden.web.security import UPLOAD, form_of
from traywarden.web.start import zones_by_region

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
WHAT: Mapping[str, str] = {"weather": "past weather", "forecast": "a forecast"}
QUANTITIES: Mapping[str, str] = {
    "air_temp_c": "air temperature",
    "air_min_c": "lowest of the day",
    "air_max_c": "highest of the day",
    "rain_mm": "rain",
    "rh_pct": "humidity",
    "wind_m_s": "wind",
}
TAKE = "take"


@dataclass(frozen=True, slots=True)
class Reading:
    """How a kept file is to be read, as the page's address says it."""

    what: str
    file: str
    zone: str
    offset: str
    date_order: str
    source: str
    issued: str
    chosen: dict[int, str] | None

    @classmethod
    def of(cls, said: Mapping[str, str]) -> "Reading":
        words = {name: str(said.get(name, "")).strip() for name in ("what", "file", "zone", "offset")}
        words |= {name: str(said.get(name, "")).strip() for name in ("date_order", "source", "issued")}
        if words["what"] not in WHAT:
            words["what"] = "weather"
        if words["date_order"] not in ("", "dmy", "mdy"):
            words["date_order"] = ""
        chosen = {
            int(name.removeprefix(TAKE)): str(value)
            for name, value in said.items()
            if name.startswith(TAKE)
            and name.removeprefix(TAKE).isascii()
            and name.removeprefix(TAKE).isdigit()
        }
        return cls(**words, chosen=chosen or None)

    @property
    def is_forecast(self) -> bool:
        return self.what == "forecast"

    def look(self, path: Path, garden_zone: str) -> FileLook:
        """Raises UsageError where zone or offset is none, ImportFileError for the file."""
        if self.offset and offset_s_from(self.offset) is None:
            raise UsageError(f"An offset of “{self.offset}” cannot be; write it like -06:00.")
        if self.zone and self.zone not in zone_names():
            raise UsageError(f"There is no time zone “{self.zone}”; choose one from the list.")
        zone = "" if self.offset else self.zone or garden_zone
        return look_into(path, zone=zone, offset=self.offset, date_order=self.date_order, chosen=self.chosen)


@router.get("/weather")
def weather(request: Request) -> HTMLResponse:
    with face_of(request).asking() as on:
        forecast: ForecastShown | None = None
        no_forecast = ""
        try:
            forecast = ask_forecast(on)
        except ShortOfDataError as short:
            no_forecast = str(short)
        return page(
            request,
            on,
            "weather.html",
            title="Weather from elsewhere",
            forecast=forecast,
            no_forecast=no_forecast,
            sources=ask_weather(on),
            kept=outside_store.sources(on.tx),
            what=WHAT,
        )


@router.post(UPLOAD)
async def take_in(request: Request) -> Response:
    """Keep the file that was sent, and show how it would be read."""
    form = await form_of(request)
    sent, what = form.get("upload"), str(form.get("what") or "")
    home = face_of(request).settings.home
    try:
        if not isinstance(sent, UploadFile) or not sent.filename:
            raise UsageError("No file was chosen.")
        token = await run_in_threadpool(keep_upload, home, sent.filename, sent.file)
    except TraywardenError as error:
        return back_to(request, form.get("back"), problem=str(error))
    finally:
        await form.close()
    asked = {"what": what, "file": token, "source": str(form.get("source") or "")[:80]}
    return RedirectResponse(f"/weather/file?{urlencode(asked)}", status_code=303)


@router.get("/weather/file")
def file(request: Request) -> HTMLResponse:
    face, asked = face_of(request), Reading.of(request.query_params)
    path = upload(face.settings.home, asked.file)
    why, look, found = "", None, None
    with face.asking() as on:
        try:
            look = asked.look(path, on.garden.time_zone)
            found = _found(look, path, on.zone, asked)
        except TraywardenError as error:
            why = plain(error, path)
        return page(
            request,
            on,
            "weather_file.html",
            title=f"Read in {WHAT[asked.what]}",
            asked=asked,
            name=path.name,
            look=look,
            found=found,
            why=why,
            source=asked.source or path.stem,
            choices=choices(),
            quantities=QUANTITIES,
            zones=zones_by_region(),
            garden_zone=on.garden.time_zone,
            what=WHAT,
            said=[
                (name, value)
                for name, value in request.query_params.items()
                if name not in ("source", "issued")
            ],
        )


def _found(look: FileLook, path: Path, zone: ZoneInfo, asked: Reading) -> Preview | None:
    if look.doubts:
        return None
    return preview(path, look.mapping, zone, forecast=asked.is_forecast)


@router.post("/weather/{deed}")
async def write(request: Request, deed: str) -> Response:
    form = await form_of(request)
    said = {name: value for name, value in form.items() if isinstance(value, str)}
    if deed not in DEEDS:
        raise UsageError(f"There is nothing called “{deed[:40]}” to do with weather.")
    try:
        says = await run_in_threadpool(DEEDS[deed], face_of(request), said)
    except TraywardenError as error:
        return back_to(request, form.get("back"), problem=str(error))
    return back_to(request, "/weather", says=says)


def _read_in(face: Face, said: Mapping[str, str]) -> str:
    asked = Reading.of(said)
    path = upload(face.settings.home, asked.file)
    source = garden_store.clean_name("source", asked.source or path.stem)
    with face.asking() as on:
        zone, now_ms, garden_zone = on.zone, on.now_ms, on.garden.time_zone
        issued_ms = parse_moment(asked.issued, now_ms=now_ms, zone=zone).at_ms
    try:
        look = asked.look(path, garden_zone)
        if look.doubts:
            raise UsageError(look.doubts[0].question)
        if asked.is_forecast:
            told = import_forecast(face.store, path, look.mapping, source, issued_ms)
            says = (
                f"{told.hours:,} hours of “{told.source}” are read in; {told.hours_ahead:,} of them lay "
                "ahead when it was issued."
            )
        else:
            days = import_weather(face.store, path, look.mapping, source, zone)
            says = f"{days.days:,} days of “{days.source}” are read in; {days.days_new:,} are new."
            says += days.counted_words
    except TraywardenError as error:
        raise UsageError(plain(error, path)) from error
    forget_upload(face.settings.home, asked.file)
    face.answers.written()
    return says


def _forget(face: Face, said: Mapping[str, str]) -> str:
    with face.store.write() as tx:
        source = said.get("source", "")
        if source not in outside_store.sources(tx):
            raise UsageError(f"There is no source called “{source[:80]}”.")
        hours, days = outside_store.forget(tx, source)
    face.answers.written()
    return f"Forgotten: {hours:,} forecast hours and {days:,} days of “{source}”."


def plain(error: TraywardenError, path: Path) -> str:
    """The words of a refusal with the file's own name in the place of where it is kept."""
    words = str(error).replace(str(path), f"“{path.name}”")
    return words.partition("; write a mapping (")[0].partition(" Days of past weather: traywarden")[0]


DEEDS = {"read-in": _read_in, "forget": _forget}
"""What is written about weather, by the last part of its address."""
