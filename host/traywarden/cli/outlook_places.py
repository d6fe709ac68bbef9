"""The temperature part of the outlook on screen: tonight's low and tomorrow's high by place."""

from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.lows_highs import Expected
from traywarden.domain.units import Display
from traywarden.services.questions.place_backtest import LowHighBacktest
from traywarden.services.questions.place_outlook import PlaceOutlookAnswer, Side


def print_places(answer: PlaceOutlookAnswer, display: Display) -> None:
    """What the night and the next day bring, place by place, then what it rests on."""
    say(answer.sentence)
    say("")
    notes = Notes()
    rows = []
    for place in answer.places:
        for side in (place.soil, place.air):
            if side.low is None and side.high is None:
                rows.append((place.place, side.measured, "–", "", "–", "", notes.mark(side.reason)))
                continue
            marks = dict.fromkeys(notes.mark(each) for each in _limits(side) if each)
            rows.append(
                (
                    place.place,
                    side.measured,
                    *_words(side.low, display),
                    *_words(side.high, display),
                    "".join(marks),
                )
            )
    say(f"Tonight is the night from {answer.night:%a %d %b}, tomorrow {answer.day:%a %d %b}.")
    low, high = "tonight's low", "tomorrow's high"
    print_table(("place", "", low, "80 % interval", high, "80 % interval ", ""), rows, right=(low, high))
    notes.say()
    if answer.forecast:
        say(f"{answer.forecast[:1].upper()}{answer.forecast[1:]}.")
    told = [
        f"{place.place}, {side.measured}: {side.relation}."
        for place in answer.places
        for side in (place.soil, place.air)
        if side.relation and answer.forecast and side.basis.startswith("forecast")
    ]
    if told:
        say(f"Open air: {answer.outside}. What each place makes of it:")
        for line in told:
            say(f"  {line}")
    else:
        say(
            "From each place's own days: coming weather is not known here, so fronts come as often as before."
        )


def print_places_backtest(rows: tuple[LowHighBacktest, ...], display: Display) -> None:
    """How often the intervals held what came, and how far the estimates were off."""
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
    if found is None:
        return "–", ""
    return display.temp(found.estimate_c), f"{display.temp(found.low_c)} to {display.temp(found.high_c)}"


def _limits(side: Side) -> list[str]:
    return [found.reason for found in (side.low, side.high) if found is not None] + [side.reason]


def _size(value_c: float | None, display: Display) -> str:
    return "–" if value_c is None else display.temp_difference(value_c).lstrip("+")
