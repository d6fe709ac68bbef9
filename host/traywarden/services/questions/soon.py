"""When a tray will be dry, foreseen from its present dry-down."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from traywarden.domain.garden import Mix
from traywarden.domain.series import HeadSeries
from traywarden.domain.wetting import Wetting
from traywarden.services.wettings import head_dry_downs

HALF_HOUR_MS = 1_800_000
SOON_S = 86_400.0
ANY_TIME = "any time now"


@dataclass(frozen=True, slots=True)
class Soon:
    """A tray that will need water within a day if it goes on drying as it does.

    `by` is what the fit says; `when` says it as precisely as it is known.
    """

    tray: str
    place: str | None
    what: str
    when: str
    by: datetime
    in_s: float
    why: str


def seconds_to_dry(
    heads: Sequence[tuple[HeadSeries, Sequence[Wetting]]], mix: Mix, now_s: float, blind_after_s: float
) -> float | None:
    """Seconds until the first head of a tray, each with its wettings, is at the dry line; None: not known."""
    left = (_seconds_to(head, wettings, mix, now_s, blind_after_s) for head, wettings in heads)
    return min((found for found in left if found is not None), default=None)


def when_words(now_ms: int, in_s: float, zone: ZoneInfo) -> str:
    """When, within a day: to the half hour before, as a drying tray is not foreseen to the minute."""
    at_ms = now_ms + in_s * 1000
    at = datetime.fromtimestamp(at_ms // HALF_HOUR_MS * HALF_HOUR_MS / 1000, zone)
    if at.timestamp() * 1000 <= now_ms:
        return ANY_TIME
    day = "today" if at.date() == datetime.fromtimestamp(now_ms / 1000, zone).date() else "tomorrow"
    return f"by about {at:%H:%M} {day}"


def _seconds_to(
    head: HeadSeries, wettings: Sequence[Wetting], mix: Mix, now_s: float, blind_after_s: float
) -> float | None:
    """Seconds from now until the present dry-down crosses the dry line: t* = −τ·ln((θ* − θw)/(θ0 − θw)).

    None where the head is not in a dry-down now, or it is too short to say.
    """
    since_s = max((w.onset_s for w in wettings), default=-math.inf)
    stretches = head_dry_downs(head, wettings, mix, since_s)
    if not stretches or stretches[-1].ended_by != "end of readings":
        return None
    fit, line_m3_m3 = stretches[-1], mix.dry_line_m3_m3
    if (
        now_s - fit.end_s > blind_after_s
        or fit.tau_s is None
        or fit.theta0_m3_m3 is None
        or fit.residual_m3_m3 is None
        or line_m3_m3 <= fit.residual_m3_m3
    ):
        return None
    if fit.theta0_m3_m3 <= line_m3_m3:
        return 0.0
    at_s = fit.start_s - fit.tau_s * math.log(
        (line_m3_m3 - fit.residual_m3_m3) / (fit.theta0_m3_m3 - fit.residual_m3_m3)
    )
    return max(at_s - now_s, 0.0)
