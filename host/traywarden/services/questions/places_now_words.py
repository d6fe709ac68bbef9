"""Places as they are now, in a table."""

from traywarden.domain.units import Display, bare
from traywarden.services.questions.answer_table import AnswerTable
from traywarden.services.questions.place_words import bare_temp
from traywarden.services.questions.places_now import MeasuredNow, PlaceNow, PlacesNowAnswer


def now_table(answer: PlacesNowAnswer, display: Display) -> AnswerTable:
    """One row a place: air and soil now and today's range so far; why one is not known is a remark."""
    degree = f"°{display.temperature}"
    now = tuple(f"{measured}, {degree}" for measured in ("air", "soil"))
    return AnswerTable(
        ("place", now[0], "today", now[1], "today ", "trays"),
        [
            (
                place.place,
                *(bare_temp(place.air.temp_c, display), today_words(place.air, display)),
                *(bare_temp(place.soil.temp_c, display), today_words(place.soil, display)),
                ", ".join(place.trays),
            )
            for place in answer.places
        ],
        right=now,
        remarks=[
            tuple(f"{side}: {found.reason}" for side, found in _sides(place) if found.reason)
            for place in answer.places
        ],
    )


def today_words(found: MeasuredNow, display: Display) -> str:
    """Lowest and highest of the day so far, without a unit."""
    if found.low_c is None or found.high_c is None:
        return ""
    low, high = (bare(display.temp(temp_c)) for temp_c in (found.low_c, found.high_c))
    return f"{low} to {high}"


def _sides(place: PlaceNow) -> tuple[tuple[str, MeasuredNow], ...]:
    return ("air", place.air), ("soil", place.soil)
