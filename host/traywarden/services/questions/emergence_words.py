"""What is said about emergence beside the sentence of each tray: warmth, degree-days, what it rests on."""

from datetime import datetime

from traywarden.domain.clock_words import day_words
from traywarden.domain.units import Display
from traywarden.services.questions.emergence_answer import (
    COMING_UP,
    LATE,
    UNKNOWN,
    EmergenceAnswer,
    TrayEmergence,
)


def summary_words(answer: EmergenceAnswer, why_late: str = "", why_not: str = "") -> list[str]:
    """What is late, where to look, or that all is on its way; `why_late`, `why_not`: where that is told."""
    late = late_trays(answer)
    coming = [t for t in answer.trays if t.first and t.state != LATE]
    due = [t.tray for t in coming if t.first and t.first.expected and t.first.expected <= answer.at]
    words = []
    if late:
        words.append(f"Late: {', '.join(late)}.{why_late}")
    if due:
        words.append(f"The first may be up, so look: {', '.join(due)}.")
    untold = [t.tray for t in answer.trays if t.state == UNKNOWN]
    if not words and coming:
        words.append(f"On its way in {len(coming)} tray{'s' if len(coming) > 1 else ''}; none is late.")
    begun = sum(t.state == COMING_UP for t in answer.trays)
    if not words and begun:
        words.append(f"Coming up in {begun} tray{'s' if begun > 1 else ''}: count on.")
    if untold:
        words.append(f"Cannot be told: {', '.join(untold)}{why_not}.")
    return words or ["No tray has seed on its way."]


def late_trays(answer: EmergenceAnswer) -> list[str]:
    return [t.tray for t in answer.trays if t.state == LATE]


def warmth_words(tray: TrayEmergence, display: Display) -> str:
    """How warm the mix was, for how much of the time that is known, and what cold or heat cost."""
    words = f"Mix {display.temp(tray.mean_c)} in the mean" if tray.mean_c is not None else "Mix not measured"
    words += f", known for {int((tray.coverage or 0.0) * 100 + 1e-9)} % of the time"
    if tray.filled_h:
        words += f"; {tray.filled_h:.0f} h were filled from the days around and widen the band"
    for hours, days, what in (
        (tray.cold_h, tray.cold_days, "cold"),
        (tray.hot_h, tray.hot_days, "warm"),
    ):
        if hours >= 1:
            words += f"; too {what} to advance for {hours:.0f} h"
            if days:
                words += f", {days} day{'s' * (days != 1)} of it lost"
    return f"{words}."


def degree_day_words(tray: TrayEmergence, display: Display, now: datetime) -> str:
    """Degree-days as a second opinion; empty where there is none."""
    second = tray.degree_days
    if second is None:
        return ""
    gathered = display.degree_days(second.gathered_c_days).split()[0]
    words = (
        f"Degree-days beside it: {gathered} of {display.degree_days(second.needed_c_days)} above "
        f"{display.temp(second.base_c)} ({second.done * 100:.0f} %)"
    )
    if second.half is not None:
        words += f", half up {day_words(second.half, now)}"
    return f"{words}; {second.disagreement or 'they agree'}."


def basis_words(tray: TrayEmergence) -> str:
    """Which published days it rests on, and by how much the garden's own records change them."""
    if tray.factor is None:
        return f"Rests on {tray.basis_says}."
    return (
        f"Rests on {tray.basis_says}, times {tray.factor.expected:.2f} "
        f"({tray.factor.low:.2f} to {tray.factor.high:.2f}) from the table's error and what you wrote down."
    )


def unsure_words(tray: TrayEmergence) -> str:
    """How much of the progress was made where nothing is published; empty where that is little."""
    if tray.unsure_share <= 0.1:
        return ""
    return (
        f"{tray.unsure_share * 100:.0f} % of the progress was made at temperatures for which nothing is "
        "published; the band is wider for it."
    )
