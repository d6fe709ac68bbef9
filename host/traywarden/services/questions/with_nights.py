"""The outlook and its back-test with the nights of the places beside the trays: one answer of both."""

from dataclasses import dataclass, fields
from typing import Any

from traywarden.services.questions.backtest import BacktestAnswer, ask_backtest
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.outlook import OutlookAnswer, ask_outlook
from traywarden.services.questions.place_backtest import LowHighBacktest, backtest_places
from traywarden.services.questions.place_outlook import PlaceOutlookAnswer, ask_place_outlook


@dataclass(frozen=True, slots=True)
class WholeOutlook(OutlookAnswer):
    """`nights`: of every place; None where one tray alone was asked about."""

    nights: PlaceOutlookAnswer | None = None


@dataclass(frozen=True, slots=True)
class WholeBacktest(BacktestAnswer):
    """`nights`: of every place; none where one tray alone was asked about."""

    nights: tuple[LowHighBacktest, ...] = ()


def ask_whole_outlook(on: Ground, tray: str = "") -> WholeOutlook:
    return WholeOutlook(**_of(ask_outlook(on, tray)), nights=None if tray else ask_place_outlook(on))


def ask_whole_backtest(on: Ground, tray: str, days: float) -> WholeBacktest:
    return WholeBacktest(**_of(ask_backtest(on, tray, days)), nights=() if tray else backtest_places(on))


def _of(answer: OutlookAnswer | BacktestAnswer) -> dict[str, Any]:
    return {field.name: getattr(answer, field.name) for field in fields(answer)}
