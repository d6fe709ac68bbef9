"""The temperature part of the outlook on screen: tonight's low and tomorrow's high by place."""

from traywarden.cli.asking import bare
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.lows_highs import Expected
from traywarden.domain.units import Display
from traywarden.services.questions.place_backtest import LowHighBacktest
from traywarden.services.questions.place_outlook import PlaceOutlookAnswer, Side


def print_places(answer: PlaceOutlookAnswer, display: Display) -> None:
    """What the night and the next day bring, place by place, then what it rests on."""
    say(answer.sentence)
    if not any(side.low or side.high for p in answer.places for side in (p.soil, p.air)):
        return
    say("")
    notes = Notes()
    rows = []
    for place in answer.places:
        for side in (place.soil, place.air):
            if side.low is None and side.high is None:
                rows.append((place.place, side.measured, "–", "", "–", "", notes.mark(side.reason)))
                continue
            marks = dict.fromkeys(notes.mark(each) for each in _limits(side) if each)
            both = (*_words(side.low, display), *_words(side.high, display))
            rows.append((place.place, side.measured, *both, "".join(marks)))
    degree = f"°{display.temperature}"
    low, high = f"tonight's low, {degree}", f"tomorrow's high, {degree}"
    print_table(("place", "", low, "80 %", high, "80 % ", ""), rows, right=(low, high))
    notes.say()
    driven = any(side.basis.startswith("forecast") for p in answer.places for side in (p.soil, p.air))
    if answer.forecast:
        through = f", through what each place makes of the open air ({answer.outside})" if driven else ""
        say(f"{answer.forecast[:1].upper()}{answer.forecast[1:]}{through}.")
    if not driven:
        say("From each place's own days: a front that is coming is not in them.")


def print_places_backtest(rows: tuple[LowHighBacktest, ...], display: Display) -> None:
    """How often the intervals held what came, and how far the estimates were off."""
    if all(row.held is None for row in rows):
        say(f"They cannot be judged yet: {max(rows, key=lambda row: row.judged).reason}.")
        return
    notes = Notes()
    print_table(
        (
            "place",
            "",
            "what",
            "judged",
            "80 % interval held",
            "mean width",
            "mean error",
            "same as last time",
            "",
        ),
        [
            (
                row.place,
                row.measured,
                row.what,
                f"{row.judged}",
                "–" if row.held is None else f"{row.held * 100:.0f} %",
                _size(row.width_c, display),
                _size(row.error_c, display),
                _size(row.plain_error_c, display),
                notes.mark(row.reason),
            )
            for row in rows
        ],
        right=("judged", "80 % interval held", "mean width", "mean error", "same as last time"),
    )
    notes.say()


def _words(found: Expected | None, display: Display) -> tuple[str, str]:
    """To the degree: no night is known better."""
    if found is None:
        return "–", ""
    middle, low, high = (bare(display.temp(t, 0)) for t in (found.estimate_c, found.low_c, found.high_c))
    return middle, f"{low} to {high}"


def _limits(side: Side) -> list[str]:
    return [found.reason for found in (side.low, side.high) if found is not None] + [side.reason]


def _size(value_c: float | None, display: Display) -> str:
    return "–" if value_c is None else display.temp_difference(value_c).lstrip("+")
