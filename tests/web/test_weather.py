"""Weather from elsewhere is read in on a page as by its commands: looked into first, then kept."""

import json
from pathlib import Path
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from httpx2 import Response

from tests.services.little_garden import NOW_MS
from tests.shared_data import shared_file
from tests.web.conftest import Visitor, words_of
from traywarden.services.outside_mapping import guess_outside
from traywarden.services.outside_preview import look_into
from traywarden.services.questions.outside import ask_forecast, ask_weather
from traywarden.services.uploads import FOLDER, keep_upload
from traywarden.web.security import MOST_UPLOAD_BYTES

DAYS = "date,tmin (°F),tmax (°F),remark\n" + "".join(
    f"2024-{m:02}-{d:02},{40 + m},{60 + m},calm\n" for m in range(1, 13) for d in range(1, 29)
)
HOUR_MS = 3_600_000


def sent(visitor: Visitor, text: str | bytes, name: str = "airfield.csv", what: str = "weather") -> Response:
    """The file sent as the page's form does, and the page it leads to."""
    body = text if isinstance(text, bytes) else text.encode()
    data = {"form_token": visitor.token(), "back": "/weather", "what": what, "source": ""}
    return visitor.client.post("/weather/upload", data=data, files={"upload": (name, body)})


def read_in(visitor: Visitor, answer: Response, **fields: str) -> str:
    asked = {name: values[0] for name, values in parse_qs(urlsplit(str(answer.url)).query).items()}
    return visitor.send("/weather/read-in", **{**asked, "source": "airfield", **fields})


def test_past_weather_is_looked_into_first_and_kept_only_when_read_in(visitor: Visitor) -> None:
    answer = sent(visitor, DAYS)
    words = words_of(answer.text)
    assert "336 days, 1 January 2024 to 28 December 2024" in words
    assert "is left out" in words
    assert "5.0 °C" in words  # 41 °F, the lowest of January
    with visitor.face.asking() as on:
        assert ask_weather(on) == []
    assert "336 days of “airfield” are read in; 336 are new." in read_in(visitor, answer)
    with visitor.face.asking() as on:
        (source,) = ask_weather(on)
    page = visitor.words("/weather")
    assert (source.source, source.days) == ("airfield", 336)
    assert f"{source.days} {source.lacking}" in page
    assert not list((visitor.home / FOLDER).glob("*/*"))


def test_days_that_lack_a_temperature_are_read_in_and_said_not_to_count(visitor: Visitor) -> None:
    told = read_in(visitor, sent(visitor, DAYS.replace("2024-01-01,41,61", "2024-01-01,41,")))
    assert "336 are new. 335 have both their lowest and highest temperature, and count." in told
    with visitor.face.asking() as on:
        assert ask_weather(on)[0].days == 335


def test_a_column_is_taken_for_what_is_chosen_not_for_what_was_guessed(visitor: Visitor) -> None:
    answer = sent(visitor, "day;a;b\n2024-03-01;50;59\n2024-03-02;51;60\n")
    assert "Say of at least one column what it is" in words_of(answer.text)
    chosen = {"take1": "air_min_c °F", "take2": "air_max_c °F"}
    told = words_of(visitor.client.get(f"{answer.url}&{urlencode(chosen)}").text)
    assert "10.0 °C to 15.6 °C" in told
    assert "2 days of “airfield” are read in" in read_in(visitor, answer, **chosen)
    with visitor.face.asking() as on:
        (source,) = ask_weather(on)
    assert source.lowest_c == pytest.approx(10.0)


def test_two_columns_cannot_be_one_thing(visitor: Visitor) -> None:
    answer = sent(visitor, DAYS)
    told = visitor.client.get(str(answer.url) + "&take1=air_min_c °F&take2=air_min_c °F").text
    assert "Two columns are taken for the same thing" in words_of(told)


def test_a_forecast_in_json_drives_the_outlook_from_its_issue_on(visitor: Visitor) -> None:
    hours = [NOW_MS // HOUR_MS * HOUR_MS // 1000 + 3600 * n for n in range(48)]
    text = json.dumps({"hourly": {"time": hours, "temperature (°C)": [10 + n % 5 for n in range(48)]}})
    answer = sent(visitor, text, "tomorrow.json", "forecast")
    assert "48 hours" in words_of(answer.text)
    assert "48 hours of “airfield” are read in; 48 of them lay ahead" in read_in(visitor, answer)
    with visitor.face.asking() as on:
        shown = ask_forecast(on)
    assert (shown.source, shown.issued_ms) == ("airfield", NOW_MS)
    assert shown.sentence in visitor.words("/weather")
    assert "Forgotten: 48 forecast hours" in visitor.send("/weather/forget", source="airfield")


def test_dates_that_read_both_ways_are_asked_about(visitor: Visitor) -> None:
    answer = sent(visitor, "date,tmin (°C),tmax (°C)\n01/02/2024,3,9\n02/02/2024,4,10\n")
    assert "day first or month first" in words_of(answer.text)
    assert "day first or month first" in read_in(visitor, answer)
    told = visitor.client.get(str(answer.url) + "&date_order=dmy").text
    assert "2 days, 1 February 2024 to 2 February 2024" in words_of(told)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"", "No file was chosen, or it is empty."),
        (b"\x00\x01\x02", "Not like this"),
        (b"no table at all", "is not a table"),
        (b"date,tmin (\xc2\xb0C)\n2024-01-01,3\n2024-01-02,4\n", "Past weather needs the lowest"),
    ],
)
def test_a_file_that_cannot_be_read_says_so_by_its_own_name(visitor: Visitor, text: bytes, says: str) -> None:
    answer = sent(visitor, text, "<b>my</b> “file”.csv")
    assert says in words_of(answer.text)
    assert str(visitor.home) not in answer.text
    assert "<b>my" not in answer.text


def test_a_file_is_found_by_its_token_alone_and_not_for_long(visitor: Visitor, tmp_path: Path) -> None:
    for token in ("", "../../etc", "0" * 16, "%2e%2e"):
        assert "choose it again" in visitor.words(f"/weather/file?file={token}", status=400)
    tokens = []
    for number in range(7):
        with (tmp_path / "a.csv").open("w+b") as file:
            file.write(b"x")
            file.seek(0)
            tokens.append(keep_upload(visitor.home, "../../a.csv", file))
        assert number < 5 or len(list((visitor.home / FOLDER).iterdir())) == 5
    (kept,) = (visitor.home / FOLDER / tokens[-1]).iterdir()
    assert kept.name == "a.csv"


def test_only_the_form_of_files_takes_a_long_body(visitor: Visitor) -> None:
    length = {"content-length": str(MOST_UPLOAD_BYTES + 1), "content-type": "multipart/form-data; boundary=x"}
    assert visitor.client.post("/weather/upload", content=b"", headers=length).status_code == 413
    length["content-length"] = str(2 << 20)
    assert visitor.client.post("/weather/read-in", content=b"", headers=length).status_code == 413


@pytest.mark.data
def test_recorded_years_are_taken_as_the_command_takes_them(visitor: Visitor) -> None:
    path = shared_file("weather_seattle_daily.csv")
    look = look_into(path, zone="Europe/Lisbon", offset="", date_order="")
    assert look.mapping.columns == guess_outside(path, zone="Europe/Lisbon").mapping.columns
    answer = sent(visitor, path.read_bytes(), path.name)
    assert "days of “airfield” are read in" in read_in(visitor, answer)
