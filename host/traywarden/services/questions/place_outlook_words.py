"""Tonight's low and tomorrow's high of every place, in a table and in words."""

from traywarden.domain.lows_highs import Expected
from traywarden.domain.units import Display, bare
from traywarden.services.questions.answer_table import AnswerTable, sentence
from traywarden.services.questions.place_outlook import PlaceOutlookAnswer, Side


def lows_highs_table(answer: PlaceOutlookAnswer, display: Display) -> AnswerTable:
    """A row for the soil and one for the air of each place; what is not known is a remark."""
    rows: list[tuple[str, ...]] = []
    remarks: list[tuple[str, ...]] = []
    for place in answer.places:
        for side in (place.soil, place.air):
            if side.low is None and side.high is None:
                rows.append((place.place, side.measured, "–", "", "–", ""))
                remarks.append((side.reason,))
                continue
            both = (*expected_words(side.low, display), *expected_words(side.high, display))
            rows.append((place.place, side.measured, *both))
            remarks.append(side_limits(side))
    degree = f"°{display.temperature}"
    low, high = f"tonight's low, {degree}", f"tomorrow's high, {degree}"
    return AnswerTable(("place", "", low, "80 %", high, "80 % "), rows, (low, high), remarks)


def basis_lines(answer: PlaceOutlookAnswer) -> list[str]:
    """Which forecast it rests on, or that it rests on none."""
    driven = any(side.basis.startswith("forecast") for p in answer.places for side in (p.soil, p.air))
    lines = []
    if answer.forecast:
        through = f", through what each place makes of the open air ({answer.outside})" if driven else ""
        lines.append(sentence(f"{answer.forecast}{through}"))
    if not driven:
        lines.append("From each place's own days: a front that is coming is not in them.")
    return lines


def expected_words(found: Expected | None, display: Display) -> tuple[str, str]:
    """To the degree: no night is known better."""
    if found is None:
        return "–", ""
    middle, low, high = (bare(display.temp(t, 0)) for t in (found.estimate_c, found.low_c, found.high_c))
    return middle, f"{low} to {high}"


def side_limits(side: Side) -> tuple[str, ...]:
    """What limits the low, the high and both; empty strings where nothing does."""
    return (*(found.reason for found in (side.low, side.high) if found is not None), side.reason)
