"""How far seed that is not up yet has come, at a glance: from the record, without looking ahead."""

from dataclasses import dataclass

from traywarden.services.questions.emergence_answer import LATE, ON_ITS_WAY, UNKNOWN
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.nursery import Nursery
from traywarden.services.questions.sowings import Sowing

DUE = "due"
"""The middle of the band of the first seedling has passed: every other such sowing would show it by now."""


@dataclass(frozen=True, slots=True)
class EmergenceNow:
    """One tray: `state` “on its way”, “due” (the first may be up), “late” or “cannot be told”, then `why`.

    `done` is the fraction of the way to half emergence.
    """

    tray: str
    place: str | None
    crop: str
    state: str
    done: float | None
    why: str = ""


def emergence_now(ground: Ground, tray: str = "") -> tuple[EmergenceNow, ...]:
    """Every tray (or one) with a sowing of a known crop of which nothing is up; the same states as
    `ask_emergence`."""
    nursery = Nursery(ground)
    chosen = [each.tray_id for each in ground.chosen_trays(tray)] if tray else ground.trays
    standing = [sowing for tray_id in chosen if (sowing := nursery.current(tray_id))]
    return tuple(_now(nursery, s, s.crop.name) for s in standing if s.crop is not None and s.up is None)


def _now(nursery: Nursery, sowing: Sowing, crop: str) -> EmergenceNow:
    assert sowing.crop is not None
    ground, tray = nursery.ground, sowing.tray
    place = ground.place_of(tray.tray_id, ground.now_ms)
    where = place.name if place else None
    progress = nursery.progress(sowing, nursery.curve(sowing.crop.key), nursery.until_ms(sowing))
    if progress.blind:
        return EmergenceNow(tray.name, where, crop, UNKNOWN, None, progress.blind)
    found, _ = nursery.expected(sowing, progress, None)
    state = LATE if found.overdue else DUE if found.first.mid_s is not None else ON_ITS_WAY
    return EmergenceNow(tray.name, where, crop, state, round(found.done[1], 3))
