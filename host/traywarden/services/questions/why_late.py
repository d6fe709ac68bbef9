"""Why a sowing may be late: its hours, its moisture and its seed against what is known to hold seed up."""

from traywarden.domain.crops import Crop
from traywarden.domain.development import RateCurve
from traywarden.domain.lateness import Cause, SeedLot, causes
from traywarden.domain.progress import Progress
from traywarden.domain.units import HOUR_S
from traywarden.services.lots import age_years
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.nursery import Nursery
from traywarden.services.questions.sowings import Sowing
from traywarden.store.crops import load_seed


def why_late(
    nursery: Nursery, sowing: Sowing, crop: Crop, curve: RateCurve, progress: Progress
) -> list[Cause]:
    """Every possible cause with its verdict, in the order in which to look."""
    ground = nursery.ground
    hours = nursery.hours(sowing)
    since = hours.hour_s >= sowing.entry.at_ms / 1000 - HOUR_S
    mix = ground.mix_of(sowing.tray.tray_id, ground.now_ms)
    return causes(
        crop.key,
        hours.soil_temp_c[since],
        progress.slow,
        hours.moisture_m3_m3[since],
        _seed_lot(ground, sowing),
        low_c=curve.low_c if crop.min_c is None else crop.min_c,
        high_c=curve.high_c if crop.max_c is None else crop.max_c,
        dry_line_m3_m3=mix.dry_line_m3_m3 if mix else None,
        capacity_m3_m3=mix.container_capacity_m3_m3 if mix else None,
        calibrated=_calibrated(ground, sowing, mix.mix_id if mix else None),
        display=ground.display,
    )


def _calibrated(ground: Ground, sowing: Sowing, mix_id: int | None) -> bool:
    stays = ground.facts.heads_in_tray(sowing.tray.tray_id, sowing.entry.at_ms, ground.now_ms + 1)
    return bool(stays) and all(ground.facts.calibrated_in(stay.subject, mix_id) for stay in stays)


def _seed_lot(ground: Ground, sowing: Sowing) -> SeedLot | None:
    if sowing.lot is None:
        return None
    published = load_seed().get(sowing.lot.crop)
    return SeedLot(
        sowing.lot.name,
        sowing.lot.germination,
        published.standard_pct / 100 if published and published.standard_pct else None,
        published.standard_source if published else "",
        age_years(ground, sowing.lot, sowing.entry.at_ms),
        published.life_years if published else None,
        published.life_source if published else "",
    )
