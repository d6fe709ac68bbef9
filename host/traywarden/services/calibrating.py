"""What a head is calibrated from: its latest volts, and the weighings of the pot it stands in."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from traywarden.domain.calibration import (
    CurveFit,
    Points,
    Steadiness,
    curve_from_weighings,
    steadiness,
    water_m3_m3,
)
from traywarden.domain.garden import Head, Mix
from traywarden.domain.journal import Entry, Facts, Kind
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.journal import Draft, put
from traywarden.services.moments import moment_words
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Tx

DRY_MIX_M3_M3 = 0.02
"""Water left in air-dry mix (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class HeadVolts:
    """What a head has read in the last minutes [V], and whether it stands still."""

    head: str
    readings: int
    median_v: float | None
    spread_v: float | None
    steady: bool
    reason: str


@dataclass(frozen=True, slots=True)
class WeighedPoint:
    """One weighing on the curve: measured water content minus the curve's is the residual [m³/m³]."""

    entry: int
    at: str
    grams: float
    volts: float
    m3_m3: float
    residual_m3_m3: float
    outlier: bool


@dataclass(frozen=True, slots=True)
class WeighedCurve:
    """A curve from the weighings of one pot; `curve` holds its points, by rising volts."""

    head: str
    weighings: tuple[WeighedPoint, ...]
    curve: Points
    rmse_m3_m3: float


def recent_volts(tx: Tx, head: Head, start_ms: int, end_ms: int) -> Steadiness:
    """How the head's volts stand between two instants."""
    columns = reading_store.columns(tx, head.head_id, start_ms, end_ms)
    return steadiness(columns.time_ms / 1000.0, columns.values["moisture_v"])


def head_volts(head: Head, told: Steadiness) -> HeadVolts:
    none = told.readings == 0
    return HeadVolts(
        head.label,
        told.readings,
        None if none else round(told.median_v, 4),
        None if none else round(told.spread_v, 4),
        told.steady,
        told.reason,
    )


def weighed_curve(
    facts: Facts,
    head: Head,
    start_ms: int,
    end_ms: int,
    zone: ZoneInfo,
    *,
    mix_litres: float,
    dry_grams: float,
) -> WeighedCurve:
    """The curve from all weighings of the head's pot in [start_ms, end_ms].

    Raises ShortOfDataError where they make none, UsageError for a dry weight above a weighing.
    """
    entries = [
        e
        for e in facts.entries
        if e.kind is Kind.WEIGHED and e.head_id == head.head_id and start_ms <= e.at_ms <= end_ms
    ]
    if len(entries) < 2:
        raise ShortOfDataError(
            f"The pot of head {head.label} was weighed {len(entries)} times in that span; twice is the "
            f"least, eight times make a good curve: traywarden calibrate weigh {head.label} --grams …"
        )
    lightest = min(float(e.data["grams"]) for e in entries)
    if dry_grams > lightest:
        raise UsageError(
            f"The pot weighed {lightest:g} g once, less than {dry_grams:g} g dry; weigh the dry pot again, "
            "with the head and the saucer that were on the scale before."
        )
    volts = [float(e.data["volts"]) for e in entries]
    m3_m3 = [water_m3_m3(float(e.data["grams"]), dry_grams, mix_litres) for e in entries]
    fit = curve_from_weighings(volts, m3_m3)
    if fit.reason:
        raise ShortOfDataError(f"No curve for head {head.label}: {fit.reason}.")
    return WeighedCurve(head.label, _points(entries, volts, m3_m3, fit, zone), fit.points, fit.rmse_m3_m3)


def _points(
    entries: list[Entry], volts: list[float], m3_m3: list[float], fit: CurveFit, zone: ZoneInfo
) -> tuple[WeighedPoint, ...]:
    rows = zip(entries, volts, m3_m3, fit.residual_m3_m3, fit.outlier, strict=True)
    return tuple(
        WeighedPoint(e.entry_id, moment_words(e.at_ms, zone), float(e.data["grams"]), v, water, off, out)
        for e, v, water, off, out in rows
    )


def two_points(dry_v: float, wet_v: float, dry_m3_m3: float, wet_m3_m3: float) -> Points:
    """Air-dry mix and drained mix as a calibration, by rising volts. Raises UsageError for what cannot be."""
    if not dry_m3_m3 < wet_m3_m3:
        raise UsageError(
            f"The dry point ({dry_m3_m3:g} m³/m³) must hold less water than the wet one "
            f"({wet_m3_m3:g} m³/m³); swap them."
        )
    return tuple(sorted([(dry_v, dry_m3_m3), (wet_v, wet_m3_m3)]))


def weigh_pot(
    tx: Tx, head: Head, grams: float, volts: float | None, at_ms: int, now_ms: int, *, back_ms: int, note: str
) -> Entry:
    """Write down what the pot of a head weighs; its volts are those of the last `back_ms` unless given.

    Raises ShortOfDataError where those do not stand still.
    """
    if volts is None:
        told = recent_volts(tx, head, at_ms - back_ms, at_ms + 1)
        if not told.steady:
            raise ShortOfDataError(
                f"Head {head.label} does not stand still ({told.reason}); wait, look with "
                f"“traywarden calibrate volts {head.label}”, or give --volts."
            )
        volts = round(told.median_v, 4)
    data = {"grams": grams, "volts": volts}
    return put(tx, Draft(Kind.WEIGHED, at_ms, head_id=head.head_id, data=data, note=note), now_ms)


def write_calibration(
    tx: Tx,
    points: Points,
    at_ms: int,
    now_ms: int,
    *,
    head: Head | None,
    mix: Mix | None,
    note: str = "",
    redo: bool = False,
) -> Entry:
    """Into the journal: for a mix where one is given, else for the head.

    `redo` puts it in the place of the last one, from that one's date on; UsageError where there is none.
    """
    old = _last(tx, head, mix) if redo else None
    draft = Draft(
        Kind.CALIBRATED,
        old.at_ms if old else at_ms,
        head_id=head.head_id if head and mix is None else None,
        mix_id=mix.mix_id if mix else None,
        data={"points": [list(point) for point in points]},
        note=note,
    )
    return put(tx, draft, now_ms, replaces=old.entry_id if old else None)


def _last(tx: Tx, head: Head | None, mix: Mix | None) -> Entry:
    subject = (None, mix.mix_id) if mix else (head.head_id if head else None, None)
    standing = journal_store.facts(tx).entries
    made = [e for e in standing if e.kind is Kind.CALIBRATED and (e.head_id, e.mix_id) == subject]
    if not made:
        who = f"“{mix.name}”" if mix else f"head {head.label if head else '?'}"
        raise UsageError(f"There is no calibration of {who} to redo; leave --redo out.")
    return made[-1]


def container_capacity_m3_m3(tx: Tx, head: Head | None, at_ms: int) -> float:
    """Container capacity of the mix the head is in, or the default where it is in none.

    What the mix was set up with: one accepted since was learned by the calibration that is to be replaced.
    """
    facts = journal_store.facts(tx)
    tray_id = facts.tray_of_head(head.head_id, at_ms) if head else None
    mix_id = facts.mix_of_tray(tray_id, at_ms) if tray_id else None
    mix = next((m for m in garden_store.mixes(tx) if m.mix_id == mix_id), None)
    return garden_store.CONTAINER_CAPACITY_M3_M3 if mix is None else mix.container_capacity_m3_m3
