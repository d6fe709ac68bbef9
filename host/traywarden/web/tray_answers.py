"""Everything a tray's page asks, asked together: the questions then read what they share once."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.degree_days import DegreeDaysAnswer, DegreeDaysAsked, ask_degree_days
from traywarden.services.questions.emergence import ask_emergence
from traywarden.services.questions.emergence_answer import EmergenceAnswer, TrayEmergence
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.outlook import OutlookAnswer, TrayOutlook, ask_outlook
from traywarden.services.questions.today import Blind, Need, TodayAnswer, TrayNow, ask_today
from traywarden.services.questions.waterings import TrayWaterings, WateringsAnswer, ask_waterings

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class TrayAnswers:
    """What is known of one tray; None where it cannot be told, and `why` says so once."""

    now: TrayNow | None
    needs: tuple[Need, ...]
    blind: tuple[Blind, ...]
    emergence: TrayEmergence | None
    degree_days: DegreeDaysAnswer | None
    outlook: TrayOutlook | None
    waterings: TrayWaterings | None
    why: str


def tray_answers(ground: Ground, tray: str, days: int) -> TrayAnswers:
    short: list[str] = []

    def asked(question: Callable[[], T]) -> T | None:
        try:
            return question()
        except (ShortOfDataError, UsageError) as error:
            short.append(str(error))
            return None

    waterings: WateringsAnswer | None = asked(lambda: ask_waterings(ground, tray, days))
    today: TodayAnswer | None = asked(lambda: ask_today(ground, tray))
    emergence: EmergenceAnswer | None = asked(lambda: ask_emergence(ground, tray))
    outlook: OutlookAnswer | None = asked(lambda: ask_outlook(ground, tray))
    why = short[0] if short else ""
    sown = today is not None and today.trays[0].crop is not None
    return TrayAnswers(
        today.trays[0] if today else None,
        today.needs if today else (),
        today.blind if today else (),
        emergence.trays[0] if emergence else None,
        asked(lambda: ask_degree_days(ground, DegreeDaysAsked(tray))) if sown else None,
        outlook.trays[0] if outlook else None,
        waterings.trays[0] if waterings else None,
        why,
    )
