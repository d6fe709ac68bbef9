"""`traywarden backtest`: how good the outlook was in this garden."""

import math

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.outlook_places import print_places_backtest
from traywarden.cli.tables import print_table, say
from traywarden.domain.backtest import Score
from traywarden.services.questions.backtest import BacktestAnswer
from traywarden.services.questions.with_nights import WholeBacktest, ask_whole_backtest

_SCORES = (
    "",
    "dry-downs",
    "cases",
    "no outlook",
    "held",
    "sooner",
    "later",
    "off",
    "same rate",
    "last time",
)


def register(app: typer.Typer) -> None:
    app.command("backtest", rich_help_panel=PANEL)(backtest)


def backtest(
    tray: str = typer.Argument("", help="One tray; default every tray.", autocompletion=completion.trays),
    days: float = typer.Option(120.0, "--days", "-d", max=3660.0, help="How far back to ask."),
    as_json: bool = JSON_OPTION,
) -> None:
    """How far can the outlook be trusted? It is asked into your garden's past, and compared with what came.

    In every dry-down that is over, every six hours, for every 1 % of volume on the way down, with nothing
    known but what was known then: how often the true time lay in the 80 % interval, how far off the likeliest
    time was, and how far off two plain ways would have been.

    Example: `traywarden backtest --days 60`
    """
    with asking() as on:
        answer = ask_whole_backtest(on, tray, days)
        display = on.display

    def words(found: WholeBacktest) -> None:
        print_trays(found)
        if found.nights:
            say("\nTonight's low and tomorrow's high, asked every evening at 18:00 from the days before it:")
            print_places_backtest(found.nights, display)

    emit(answer, words, as_json=as_json)


def print_trays(answer: BacktestAnswer) -> None:
    """The trays: in one sentence, then the numbers of all and of each."""
    say(answer.sentence)
    if not answer.rolling.cases:
        return
    say("\nAsked every six hours, up to a week ahead:")
    _print_scores([("all trays", answer.rolling), *((t.tray, t.rolling) for t in answer.trays)])
    if answer.day_before.cases:
        say("\nAsked one day before:")
        _print_scores([("all trays", answer.day_before), *((t.tray, t.day_before) for t in answer.trays)])
    say(
        "Held: true times inside the 80 % interval; sooner, later: outside it. Off: half of the outlooks "
        "missed by less, as a part of the time left. Same rate (as in the last 24 hours) and last time (as "
        "long as the last dry-down): how many times as far off as the outlook. A few dry-downs say little, "
        "however many cases they give."
    )


def _print_scores(rows: list[tuple[str, Score]]) -> None:
    shown = rows if len(rows) > 2 else rows[:1]
    print_table(
        _SCORES,
        [
            (
                name,
                f"{found.dry_downs}",
                f"{found.cases}",
                f"{found.unanswered}" if found.unanswered else "",
                _percent(found.coverage),
                _percent(found.sooner),
                _percent(found.later),
                _percent(found.median_error),
                _times(found.same_rate_ratio),
                _times(found.last_time_ratio),
            )
            for name, found in shown
        ],
        right=_SCORES[1:],
    )


def _percent(part: float | None) -> str:
    return "–" if part is None else f"{part * 100:.0f} %"


def _times(ratio: float | None) -> str:
    return "–" if ratio is None or not math.isfinite(ratio) else f"×{ratio:.1f}"
