"""When each tray will be at its dry line: the time, its 80 % interval, what it rests on, or why none."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from traywarden.domain.garden import Tray
from traywarden.domain.moisture import NOT_CALIBRATED
from traywarden.services.drying_now import AirForecast, DryingNow, HeadOutlook, first_to_dry
from traywarden.services.position import position_of
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.waterings import tray_waterings
from traywarden.services.sky import air_forecast
from traywarden.services.wettings import LEAD_MS, LOOK_BACK_MS

DRY, DRIES, NO_OUTLOOK = "dry", "dries", "no outlook"


@dataclass(frozen=True, slots=True)
class DryPoint:
    """When moisture is foreseen at a level [% of container capacity], with the 80 % interval."""

    moisture_pct: float
    at: datetime
    earliest: datetime
    latest: datetime


@dataclass(frozen=True, slots=True)
class MeasuredPoint:
    """Mean moisture of an hour that began then [% of container capacity]."""

    hour: datetime
    moisture_pct: float


@dataclass(frozen=True, slots=True)
class TrayOutlook:
    """One tray. `state` is “dry”, “dries” or “no outlook”; then times are None and `why` says why.

    `by` is the likeliest time, `earliest` and `latest` the 80 % interval. `rests_on` says in words what it
    was learnt from: `earlier` dry-downs of its own for the way, `learnt_from` of the garden for the interval,
    and the `forecast` where there is one. `path` leads from now to the dry line; `measured` is the present
    dry-down so far, filled where one tray was asked for.
    """

    tray: str
    place: str | None
    mix: str | None
    state: str
    by: datetime | None = None
    earliest: datetime | None = None
    latest: datetime | None = None
    in_s: float | None = None
    low_s: float | None = None
    high_s: float | None = None
    moisture_pct: float | None = None
    dry_line_pct: float | None = None
    head: str | None = None
    why: str = ""
    rests_on: str = ""
    earlier: float | None = None
    learnt_from: float | None = None
    forecast: str = ""
    demand_share: float | None = None
    moisture_calibrated: bool = True
    remark: str = ""
    path: tuple[DryPoint, ...] = ()
    measured: tuple[MeasuredPoint, ...] = ()


@dataclass(frozen=True, slots=True)
class OutlookAnswer:
    """`stand_in` says whose sun is reckoned with where the garden's position is not written down."""

    garden: str
    at: datetime
    trays: tuple[TrayOutlook, ...]
    stand_in: str = ""


def ask_outlook(ground: Ground, tray: str = "", forecast: AirForecast | None = None) -> OutlookAnswer:
    """When one tray (or every tray) will be at its dry line, the first to be dry first.

    `forecast` gives the air of a place in the coming hours; by default the imported one, while it lasts.

    Raises UnknownNameError, UsageError (no tray yet), ShortOfDataError (nothing was ever measured).
    """
    chosen = ground.chosen_trays(tray)
    ground.need_readings()
    start_ms = ground.now_ms - LOOK_BACK_MS
    water = tray_waterings(ground, start_ms, ground.now_ms + 1)
    drying = DryingNow(ground, water, start_ms - LEAD_MS, forecast or air_forecast(ground))
    trays = [_of_tray(ground, drying, each, measured=bool(tray)) for each in chosen]
    ordered = tuple(sorted(trays, key=_order))
    stand_in = position_of(ground).stand_in
    return OutlookAnswer(ground.garden.name, ground.at(ground.now_ms), ordered, stand_in)


def _order(tray: TrayOutlook) -> tuple[int, float]:
    return (DRY, DRIES, NO_OUTLOOK).index(tray.state), tray.in_s or 0.0


def _of_tray(ground: Ground, drying: DryingNow, tray: Tray, *, measured: bool) -> TrayOutlook:
    now_ms = ground.now_ms
    mix, place = ground.mix_of(tray.tray_id, now_ms), ground.place_of(tray.tray_id, now_ms)
    plain = TrayOutlook(tray.name, place.name if place else None, mix.name if mix else None, NO_OUTLOOK)
    if ground.facts.planted_out(tray.tray_id, now_ms):
        return replace(plain, why="what grew in it was planted out, so it needs no water")
    if mix is None:
        return replace(plain, why="it has no mix yet, so there is no dry line to reach")
    plain = replace(plain, dry_line_pct=round(mix.dry_line_m3_m3 / mix.container_capacity_m3_m3 * 100, 2))
    if not ground.facts.heads_in_tray(tray.tray_id, now_ms, now_ms + 1):
        return replace(plain, why="no head is in it; place one with “traywarden probe place”")
    found = first_to_dry(drying.outlooks(tray.tray_id, with_interval=True))
    if found is None:
        return replace(plain, why="nothing was measured in it yet")
    outlook, head, capacity = found.outlook, found.head, mix.container_capacity_m3_m3
    below = head.newest_m3_m3 is not None and head.newest_m3_m3 < mix.dry_line_m3_m3
    state = NO_OUTLOOK if outlook.in_h is None else DRY if below else DRIES
    calibrated = all(s.moisture_calibrated for s in drying.series(tray.tray_id) if s.label == head.label)
    remarks = (drying.demand(tray.tray_id).said, "" if calibrated else f"its moisture is {NOT_CALIBRATED}")
    wet = outlook.level_m3_m3 if head.newest_m3_m3 is None else head.newest_m3_m3
    forecast = drying.forecast_source(tray.tray_id)
    rests_on = rests_on_words([outlook.earlier], [outlook.learnt_from], forecast)
    (by, in_s), (earliest, low_s), (latest, high_s) = (
        (None, None) if h is None else (_after(ground, h), round(h * 3600, 1))
        for h in (outlook.in_h, outlook.low_h, outlook.high_h)
    )
    return replace(
        plain,
        state=state,
        by=by,
        earliest=earliest,
        latest=latest,
        in_s=in_s,
        low_s=low_s,
        high_s=high_s,
        moisture_pct=None if wet is None else round(wet / capacity * 100, 2),
        head=head.label,
        why=outlook.reason,
        rests_on=rests_on if state == DRIES else "",
        earlier=round(outlook.earlier, 2) if state == DRIES else None,
        learnt_from=round(outlook.learnt_from, 2) if state == DRIES else None,
        forecast=forecast if state == DRIES else "",
        demand_share=outlook.demand_share,
        moisture_calibrated=calibrated,
        remark="; ".join(filter(None, remarks)),
        path=tuple(
            DryPoint(
                round(p.level_m3_m3 / capacity * 100, 2),
                *(_after(ground, h) for h in (p.in_h, p.low_h, p.high_h)),
            )
            for p in outlook.path
        ),
        measured=_measured(ground, found, capacity) if measured else (),
    )


def _after(ground: Ground, hours: float) -> datetime:
    return ground.at(ground.now_ms + hours * 3_600_000)


def rests_on_words(earlier: Sequence[float], learnt_from: Sequence[float], forecast: str) -> str:
    """What one outlook, or several, were learnt from."""
    own = _counted([round(n) for n in earlier], "earlier dry-down")
    way = f"its present drying and {own}" if own else "its present drying alone"
    if min(learnt_from) < 0.5:
        width = "the interval is a first guess, right within a factor of two"
    else:
        dry_downs = _counted([max(round(n), 1) for n in learnt_from], "dry-down")
        width = f"the interval is what {dry_downs} of this garden taught"
    weather = forecast or "the coming days are taken to be like the last three"
    subject = "it rests" if len(earlier) == 1 else "each rests"
    return f"{subject} on {way}; {width}; {weather}"


def _counted(numbers: Sequence[int], noun: str) -> str:
    """“one dry-down”, “3 dry-downs”, “3 to 5 dry-downs”, “up to 5 dry-downs”; empty for none."""
    least, most = min(numbers), max(numbers)
    if most == 0:
        return ""
    if most == 1:
        return f"one {noun}" if least else f"at most one {noun}"
    span = f"{most}" if least == most else f"{least} to {most}" if least else f"up to {most}"
    return f"{span} {noun}s"


def _measured(ground: Ground, found: HeadOutlook, capacity: float) -> tuple[MeasuredPoint, ...]:
    present = found.head.present
    if present is None:
        return ()
    return tuple(
        MeasuredPoint(ground.at(hour_s * 1000), round(moisture / capacity * 100, 2))
        for hour_s, moisture in zip(present.hour_s.tolist(), present.moisture_m3_m3.tolist(), strict=True)
        if np.isfinite(moisture)
    )
