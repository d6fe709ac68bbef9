"""The temperature part of the outlook on screen: tonight's low and tomorrow's high by place."""

from traywarden.cli.tables import Notes, print_answer, print_table, say
from traywarden.domain.units import Display
from traywarden.services.questions.place_backtest import LowHighBacktest
from traywarden.services.questions.place_outlook import PlaceOutlookAnswer
from traywarden.services.questions.place_outlook_words import basis_lines, lows_highs_table


def print_places(answer: PlaceOutlookAnswer, display: Display) -> None:
    """What the night and the next day bring, place by place, then what it rests on."""
    say(answer.sentence)
    if not any(side.low or side.high for p in answer.places for side in (p.soil, p.air)):
        return
    say("")
    print_answer(lows_highs_table(answer, display))
    for line in basis_lines(answer):
        say(line)


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


def _size(value_c: float | None, display: Display) -> str:
    return "–" if value_c is None else display.temp_difference(value_c).lstrip("+")
