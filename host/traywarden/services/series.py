"""Readings of a tray or a place: the right heads, cut to their stays, calibrated and flagged."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np

from traywarden.domain.flags import LOOK_BACK_MS, Flag
from traywarden.domain.frost import with_frost
from traywarden.domain.garden import Head
from traywarden.domain.journal import Facts
from traywarden.domain.moisture import calibrated
from traywarden.domain.quality import LIMITS_OF
from traywarden.domain.series import (
    SERIES_COLUMNS,
    BoolArray,
    FloatArray,
    HeadSeries,
    IntArray,
    is_absent,
)
from traywarden.services.head_days import HeadDays, head_days
from traywarden.services.kept import kept_of
from traywarden.services.recent import Recent
from traywarden.store import probes as probe_store
from traywarden.store.engine import once, snapshot
from traywarden.store.store import Tx
from traywarden.turns import give_way

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Piece:
    """One head, for a while, in one mix (None: in none, or unknown)."""

    head_id: int
    start_ms: int
    end_ms: int
    mix_id: int | None = None


@dataclass(frozen=True, slots=True)
class PlaceSeries:
    """What was measured in a place: its air, and the soil of the trays that stood there."""

    air: list[HeadSeries]
    soil: list[HeadSeries]


def tray_series(
    tx: Tx, facts: Facts, tray_id: int, start_ms: int, end_ms: int, *, earliest_year: int
) -> list[HeadSeries]:
    """One series per head that was in the tray in [start_ms, end_ms), for the time it was there."""
    return _series(tx, facts, tray_pieces(facts, tray_id, start_ms, end_ms), earliest_year)


def recent_series(
    tx: Tx, facts: Facts, tray_id: int, start_ms: int, end_ms: int, recent: Recent
) -> list[HeadSeries] | None:
    """`tray_series` from the newest readings alone; None where a head is not among them, or has moved."""
    pieces = tray_pieces(facts, tray_id, start_ms, end_ms)
    heads = {piece.head_id for piece in pieces}
    if len(heads) < len(pieces) or not recent.has(heads):
        return None
    return [_head_series(tx, recent, facts, [piece]) for piece in pieces]


def prefetch(
    tx: Tx, facts: Facts, tray_ids: Iterable[int], start_ms: int, end_ms: int, *, earliest_year: int
) -> None:
    """Read what `tray_series` of these trays will need, in few queries; of use within a snapshot only."""
    spans: dict[int, Span] = {}
    for tray_id in tray_ids:
        for piece in tray_pieces(facts, tray_id, start_ms, end_ms):
            before = spans.get(piece.head_id)
            span = _read_span([piece])
            spans[piece.head_id] = (
                span if before is None else (min(before[0], span[0]), max(before[1], span[1]))
            )
    if snapshot(tx) is not None:
        head_days(tx, year_start_ms(earliest_year)).prefetch(spans)


def place_series(
    tx: Tx, facts: Facts, place_id: int, start_ms: int, end_ms: int, *, earliest_year: int, only: str = ""
) -> PlaceSeries:
    """Air and soil of a place in [start_ms, end_ms), each head for the time it was there.

    `only` “air” or “soil” leaves the readings of the other where they are.
    """
    heads = {head.head_id: head for head in _heads(tx)}
    soil = [
        piece
        for stay in facts.trays_in_place(place_id, start_ms, end_ms)
        if (span := stay.overlap(start_ms, end_ms))
        for piece in tray_pieces(facts, stay.subject, *span)
    ]
    hung = [
        Piece(stay.subject, *span)
        for stay in facts.heads_in_place(place_id, start_ms, end_ms)
        if (span := stay.overlap(start_ms, end_ms))
    ]
    air = hung + _own_air(facts, heads, soil, place_id, (start_ms, end_ms))
    return PlaceSeries(
        [] if only == "soil" else _series(tx, facts, air, earliest_year),
        [] if only == "air" else _series(tx, facts, soil, earliest_year),
    )


def rain_series(
    tx: Tx, facts: Facts, covered_places: set[int], start_ms: int, end_ms: int, *, earliest_year: int
) -> list[HeadSeries]:
    """Series of heads outside numbered trays that recorded rain, leaving out the time under cover."""
    pieces = []
    for head in _heads(tx):
        if head.number != 0 and not any(s.subject == head.head_id for s in facts.head_places):
            continue
        kept_dry = [
            span
            for s in facts.head_places
            if s.subject == head.head_id
            and s.where in covered_places
            and (span := s.overlap(start_ms, end_ms))
        ]
        pieces += [Piece(head.head_id, *span) for span in _minus([(start_ms, end_ms)], kept_dry)]
    found = _series(tx, facts, pieces, earliest_year)
    return [series for series in found if not np.isnan(series.rain_mm).all()]


def _heads(tx: Tx) -> list[Head]:
    """Every head there is; read once in a snapshot."""
    return once(tx, _heads, lambda: probe_store.heads(tx))


def tray_pieces(facts: Facts, tray_id: int, start_ms: int, end_ms: int) -> list[Piece]:
    """Which heads were in a tray, when, and in which of its mixes."""
    mixes = [stay for stay in facts.tray_mixes if stay.subject == tray_id]
    pieces: list[Piece] = []
    for stay in facts.heads_in_tray(tray_id, start_ms, end_ms):
        span = stay.overlap(start_ms, end_ms)
        if span is None:
            continue
        filled = [(inside, mix.where) for mix in mixes if (inside := mix.overlap(*span))]
        pieces += [Piece(stay.subject, *inside, mix_id) for inside, mix_id in filled]
        # A tray whose filling was never written down, or later, still has its readings.
        pieces += [Piece(stay.subject, *rest) for rest in _minus([span], [inside for inside, _ in filled])]
    return sorted(pieces, key=lambda p: (p.start_ms, p.head_id))


def _own_air(
    facts: Facts, heads: dict[int, Head], soil: Iterable[Piece], place_id: int, span: Span
) -> list[Piece]:
    """Head 0 of the probes whose numbered heads were in trays here.

    A probe lies where its lowest-numbered placed head is; where its head 0 was itself hung in a place,
    that says more.
    """
    by_name = {(head.probe, head.number): head.head_id for head in heads.values()}
    here: dict[str, list[Span]] = {}
    for piece in soil:
        here.setdefault(heads[piece.head_id].probe, []).append((piece.start_ms, piece.end_ms))
    pieces: list[Piece] = []
    for probe, spans in here.items():
        own = by_name.get((probe, 0))
        if own is None:
            continue
        numbered = {
            head.number: where
            for head in heads.values()
            if head.probe == probe and head.number > 0 and (where := _whereabouts(facts, head.head_id, span))
        }
        elsewhere: list[Span] = []
        settled: list[Span] = []  # time for which a lower-numbered head has already spoken
        for number in sorted(numbered):
            for at_place, start_ms, end_ms in numbered[number]:
                if at_place != place_id:
                    elsewhere += _minus([(start_ms, end_ms)], settled)
            settled += [(start_ms, end_ms) for _, start_ms, end_ms in numbered[number]]
        hung = [s.overlap(*span) for s in [*facts.head_places, *facts.head_trays] if s.subject == own]
        taken = elsewhere + [h for h in hung if h]
        pieces += [Piece(own, *rest) for rest in _minus(_merged(spans), taken)]
    return pieces


def _whereabouts(facts: Facts, head_id: int, span: Span) -> list[tuple[int, int, int]]:
    """(place, start, end) of a head through the trays it sat in."""
    found = []
    for stay in facts.head_trays:
        inside = stay.overlap(*span) if stay.subject == head_id else None
        if inside:
            found += [
                (at.where, *both)
                for at in facts.tray_places
                if at.subject == stay.where and (both := at.overlap(*inside))
            ]
    return found


def _series(tx: Tx, facts: Facts, pieces: Sequence[Piece], earliest_year: int) -> list[HeadSeries]:
    """One HeadSeries per head, in the order in which the heads first appear."""
    by_head: dict[int, list[Piece]] = {}
    give_way()
    for piece in pieces:
        by_head.setdefault(piece.head_id, []).append(piece)
    days = head_days(tx, year_start_ms(earliest_year))
    days.prefetch({head_id: _read_span(mine) for head_id, mine in by_head.items()})
    return [_head_series(tx, days, facts, mine) for mine in by_head.values()]


def _read_span(pieces: Sequence[Piece]) -> Span:
    return min(p.start_ms for p in pieces) - LOOK_BACK_MS, max(p.end_ms for p in pieces)


def _head_series(tx: Tx, days: HeadDays | Recent, facts: Facts, pieces: list[Piece]) -> HeadSeries:
    columns = days.columns(pieces[0].head_id, *_read_span(pieces))
    flags = with_frost(columns.time_ms, columns.values, columns.flags)
    start_ms, end_ms = min(p.start_ms for p in pieces), max(p.end_ms for p in pieces)
    kept = _kept(columns.time_ms, pieces)
    time_ms = columns.time_ms[kept]
    values = {name: column[kept] for name, column in columns.values.items()}
    flags = {name: column[kept] for name, column in flags.items()}
    volts, direct = values["moisture_v"], values["moisture_m3_m3"]
    breaks_ms = {piece.start_ms for piece in pieces}
    calibrated_all = True
    if not is_absent(volts):
        from_volts = np.isnan(direct) & ~np.isnan(volts)
        moisture, own = direct.copy(), np.ones(direct.shape, np.bool_)
        for piece in pieces:
            first, last = (int(i) for i in np.searchsorted(time_ms, [piece.start_ms, piece.end_ms]))
            raw = first + np.flatnonzero(from_volts[first:last])
            if raw.size:
                line = facts.calibrations(piece.head_id, piece.mix_id)
                moisture[raw], own[raw] = calibrated(time_ms[raw], volts[raw], line)
                # The first calibration also holds for the time before it.
                breaks_ms |= {c.from_ms for c in line[1:] if piece.start_ms < c.from_ms < piece.end_ms}
        values["moisture_m3_m3"] = moisture
        calibrated_all = bool(own[~np.isnan(moisture)].all())
        flags["moisture_m3_m3"] = _wet_flags(flags, from_volts, moisture)
    return HeadSeries(
        label=columns.label,
        time_s=time_ms / 1000.0,
        moisture_calibrated=calibrated_all,
        **{name: values[name] for name in SERIES_COLUMNS},
        flags={name: flags[name] for name in SERIES_COLUMNS},
        breaks_s=tuple(at_ms / 1000.0 for at_ms in sorted(breaks_ms) if start_ms < at_ms < end_ms),
        kept=kept_of(tx, pieces[0].head_id),
    )


def _kept(time_ms: IntArray, pieces: Sequence[Piece]) -> slice | BoolArray:
    """Which readings lie in a piece: mostly one stretch of them, which then need not be copied."""
    edges = sorted(np.searchsorted(time_ms, [(p.start_ms, p.end_ms) for p in pieces]).tolist())
    if all(end >= start for (_, end), (start, _) in pairwise(edges)):
        return slice(edges[0][0], max(end for _, end in edges))
    kept = np.zeros(time_ms.shape, np.bool_)
    for first, last in edges:
        kept[first:last] = True
    return kept


def _wet_flags(flags: Mapping[str, IntArray], from_volts: BoolArray, moisture: FloatArray) -> IntArray:
    """Flags of moisture: those of the volts where it came from volts.

    Range is asked of the water content too: a loose wire may give volts in range and water below none.
    """
    limits = LIMITS_OF["moisture_m3_m3"]
    beyond = from_volts & ((moisture < limits.lowest) | (moisture > limits.highest))
    volts, direct = flags["moisture_v"], flags["moisture_m3_m3"]
    if is_absent(volts) and is_absent(direct) and not beyond.any():
        return direct
    wet = np.where(from_volts, volts, direct)
    wet[beyond] |= Flag.OUT_OF_RANGE
    return wet


def year_start_ms(year: int) -> int:
    return round(datetime(year, 1, 1, tzinfo=UTC).timestamp() * 1000)


def _merged(spans: Iterable[Span]) -> list[Span]:
    """The same time as spans that neither touch nor overlap, oldest first."""
    merged: list[Span] = []
    for start, end in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged


def _minus(spans: Iterable[Span], without: Iterable[Span]) -> list[Span]:
    """The time in `spans` that is not in `without`."""
    left = _merged(spans)
    for hole_start, hole_end in _merged(without):
        cut: list[Span] = []
        for start, end in left:
            if start < hole_start:
                cut.append((start, min(end, hole_start)))
            if hole_end < end:
                cut.append((max(start, hole_end), end))
        left = [(start, end) for start, end in cut if start < end]
    return left
