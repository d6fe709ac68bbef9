"""The rows of each table, a few weeks at a time: a long record takes no more memory than a short one."""

import json
import math
from collections.abc import Iterator, Sequence
from datetime import date, timedelta

import numpy as np

from traywarden.domain.day_means import day_means
from traywarden.domain.days import day_start_ms, local_date, local_day_bounds
from traywarden.domain.flags import LOOK_BACK_MS, names
from traywarden.domain.frost import with_frost
from traywarden.domain.garden import Head
from traywarden.domain.hourly import hourly_together
from traywarden.domain.journal import replacements
from traywarden.domain.place_days import PlaceHours, place_days
from traywarden.domain.readings import VALUE_COLUMNS
from traywarden.domain.series import FloatArray, HeadColumns, IntArray
from traywarden.services.download.tables import Cell, Rows
from traywarden.services.head_days import HeadDays
from traywarden.services.journal_words import entry_lines
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.place_record import MEASURES, place_hours
from traywarden.services.series import year_start_ms
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.engine import snapshot

WEEKS_DAYS = 28
"""So many days are in memory at once."""
DIGITS = 4


def nouns(on: Ground, name: str) -> Rows:
    """The rows of a table of nouns."""
    if name == "garden":
        here = on.garden
        return [(here.name, here.time_zone, here.latitude_deg, here.longitude_deg)]
    if name == "places":
        return [(place.name, str(place.kind), place.covered, place.note) for place in on.places.values()]
    if name == "mixes":
        return [
            (mix.name, _json(mix.parts), mix.container_capacity_m3_m3, mix.dry_line_m3_m3, mix.note)
            for mix in on.mixes.values()
        ]
    if name == "trays":
        return [(tray.name, tray.cells, tray.litres, tray.note) for tray in on.trays.values()]
    return [
        (lot.name, lot.crop, lot.germination, lot.tested, lot.seeds, lot.price, lot.note)
        for lot in on.lots.values()
    ]


def heads(on: Ground) -> Rows:
    seen = {probe.name: probe for probe in probe_store.probes(on.tx)}
    for head in probe_store.heads(on.tx):
        probe = seen[head.probe]
        times = _instants(np.array([probe.first_seen_ms, probe.last_seen_ms]))
        yield (head.label, head.probe, head.number, *times)


def journal(on: Ground) -> Rows:
    entries = journal_store.entries(on.tx)
    lines = entry_lines(on.tx, entries, replacements(entries), on.zone, on.display)
    at = _instants(np.array([entry.at_ms for entry in entries], np.int64))
    written = _instants(np.array([entry.written_ms for entry in entries], np.int64))
    for line, happened, noted in zip(lines, at, written, strict=True):
        yield (
            line.entry, happened, noted, line.kind, line.state, line.tray, line.place, line.mix, line.head,
            line.lot, _json(line.data), line.note, line.replaces,
        )  # fmt: skip


def readings(on: Ground, head: Head, first: date, last: date) -> Rows:
    """Every reading of a head, oldest first, with its flags in words."""
    earliest_ms = year_start_ms(on.settings["wire.earliest_year"])
    for start, end in windows(first, last):
        start_ms, end_ms = day_start_ms(start, on.zone), day_start_ms(end + timedelta(days=1), on.zone)
        found = reading_store.columns(on.tx, head.head_id, start_ms, end_ms)
        if found.time_ms.size:
            extras = reading_store.extras(on.tx, head.head_id, start_ms, end_ms)
            flags = _flags(on, head.head_id, found, start_ms, end_ms, earliest_ms)
            yield from _reading_rows(head.label, found, flags, extras)


def _flags(
    on: Ground, head_id: int, found: HeadColumns, start_ms: int, end_ms: int, earliest_ms: int
) -> dict[str, IntArray]:
    """The flags of these readings, frost among them."""
    wide = HeadDays(on.tx, earliest_ms).columns(head_id, start_ms - LOOK_BACK_MS, end_ms)
    flags = with_frost(wide.time_ms, wide.values, wide.flags)
    begin = wide.time_ms.size - found.time_ms.size
    assert np.array_equal(wide.time_ms[begin:], found.time_ms), "flags are of other readings"
    return {name: mine[begin:] for name, mine in flags.items()}


def _reading_rows(
    label: str, found: HeadColumns, flags: dict[str, IntArray], extras: dict[tuple[int, int], str]
) -> Iterator[Sequence[Cell]]:
    said = [""] * found.time_ms.size
    flagged = {name: mine for name, mine in flags.items() if mine.any()}
    for n in np.flatnonzero(sum((mine != 0 for mine in flagged.values()), np.zeros(len(said), np.bool_))):
        told = [f"{name}: {word}" for name, mine in flagged.items() for word in names(int(mine[n]))]
        said[n] = "; ".join(told)
    boots, sequences = found.boot.tolist(), found.sequence.tolist()
    extra = (
        [extras.get(pair) for pair in zip(boots, sequences, strict=True)] if extras else [None] * len(said)
    )
    return zip(
        [label] * len(said),
        _instants(found.time_ms),
        _instants(found.received_ms),
        boots,
        sequences,
        *(_known(found.values[name]) for name in VALUE_COLUMNS),
        said,
        extra,
        strict=True,
    )


def days_of_places(on: Ground, first: date, last: date) -> Rows:
    least = on.settings["coverage.least"]
    for place in list(on.places.values()):
        for start, end in windows(first, last):
            for measured in MEASURES:
                hours = place_hours(on, place, measured, start, end)
                if np.isfinite(hours.temp_c).any():
                    days = place_days(hours, on.zone, start, end, least_coverage=least)
                    yield from zip(
                        [place.name] * len(days.days),
                        days.days,
                        [measured] * len(days.days),
                        *map(_rounded, (days.low_c, days.mean_c, days.high_c, days.vpd_kpa, days.coverage)),
                        strict=True,
                    )
            forget(on)


def days_of_trays(on: Ground, first: date, last: date) -> Rows:
    least = on.settings["coverage.least"]
    for tray in list(on.trays.values()):
        for start, end in windows(first, last):
            bounds = local_day_bounds(start, end, on.zone)
            end_ms = min(bounds[-1][2], on.now_ms + 1)
            hours = hourly_together(on.tray_hourly(tray.tray_id, bounds[0][1], end_ms))
            if hours.hour_s.size:
                days = place_days(
                    PlaceHours.of(tray.name, hours, "soil"), on.zone, start, end, least_coverage=least
                )
                wet, coverage = day_means(hours.hour_s, hours.moisture_m3_m3, bounds, least_coverage=least)
                yield from zip(
                    [tray.name] * len(bounds),
                    days.days,
                    *map(_rounded, (days.low_c, days.mean_c, days.high_c, wet, days.coverage, coverage)),
                    strict=True,
                )
            forget(on)


def forget(on: Ground) -> None:
    """Let go of what the snapshot holds at hand: this span will not be asked for again."""
    kept = snapshot(on.tx)
    if kept is not None:
        kept.clear()


def windows(first: date, last: date) -> Iterator[tuple[date, date]]:
    """The span in parts, each with its first and last day."""
    start = first
    while start <= last:
        end = min(start + timedelta(days=WEEKS_DAYS - 1), last)
        yield start, end
        start = end + timedelta(days=1)


def recorded_days(on: Ground) -> tuple[date, date]:
    """First and last garden day with a reading; today where there is none."""
    span = reading_store.span(on.tx)
    if span is None:
        today = local_date(on.now_ms, on.zone)
        return today, today
    return local_date(span[0], on.zone), local_date(span[1], on.zone)


def _instants(time_ms: IntArray) -> list[str]:
    return [f"{text}Z" for text in np.datetime_as_string(time_ms.astype("datetime64[ms]")).tolist()]


def _known(values: FloatArray) -> list[float | None]:
    return [None if math.isnan(value) else value for value in values.tolist()]


def _rounded(values: FloatArray) -> list[float | None]:
    return _known(np.round(values, DIGITS))


def _json(held: object) -> str:
    return json.dumps(held, ensure_ascii=False, sort_keys=True, default=dict)
