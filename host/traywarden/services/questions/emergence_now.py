"""How far every sowing has come, at a glance: from the record alone, without looking ahead."""

from dataclasses import dataclass

from traywarden.domain.emergence import expect
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.nursery import Nursery


@dataclass(frozen=True, slots=True)
class EmergenceNow:
    """One tray: fraction of the way to half emergence, whether seedlings were seen, whether it is late.

    `done` is None where `blind` says why it cannot be told.
    """

    tray: str
    crop: str
    done: float | None
    up: bool
    late: bool
    blind: str = ""


def emergence_now(ground: Ground, nursery: Nursery | None = None) -> dict[int, EmergenceNow]:
    """Every tray with a sowing of a known crop, by its id."""
    nursery = nursery or Nursery(ground)
    found: dict[int, EmergenceNow] = {}
    for tray_id, tray in ground.trays.items():
        sowing = nursery.current(tray_id)
        if sowing is None or sowing.crop is None:
            continue
        curve = nursery.curve(sowing.crop.key)
        progress = nursery.progress(sowing, curve, nursery.until_ms(sowing))
        up = sowing.up is not None
        if progress.blind:
            found[tray_id] = EmergenceNow(tray.name, sowing.crop.name, None, up, False, progress.blind)
            continue
        belief = nursery.beforehand(sowing)
        seen = expect(progress, curve, None, belief, belief, sowing.seeds, seed_log_sd=nursery.seed_log_sd)
        late = seen.overdue and not up
        found[tray_id] = EmergenceNow(tray.name, sowing.crop.name, round(seen.done[1], 3), up, late)
    return found
