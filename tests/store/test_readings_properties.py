"""Any redelivery, any order and any overlap of packs give the same tables."""

import json
from collections.abc import Sequence
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.store.sample import START_MS, all_readings, emptied
from traywarden.domain.readings import BOOT_UNNUMBERED, VALUE_COLUMNS, Reading
from traywarden.store import readings
from traywarden.store.store import Store

Packs = list[list[Reading]]
EXTRA_KEYS = ("co2_ppm", "lux", "wind_m_s")

numbers = st.integers(-800, 800).map(lambda n: n / 16)  # sixteenths, as a DS18B20 gives them
instants = st.integers(0, 60).map(lambda n: START_MS + n * 60_000)


@st.composite
def one_reading(draw: st.DrawFn) -> Reading:
    time_ms = draw(instants)
    boot = draw(st.sampled_from([BOOT_UNNUMBERED, 0, 1]))
    sequence = time_ms if boot == BOOT_UNNUMBERED else draw(st.integers(0, 12))
    values: dict[str, Any] = {name: draw(st.none() | numbers) for name in VALUE_COLUMNS}
    extra = draw(st.dictionaries(st.sampled_from(EXTRA_KEYS), numbers))
    return Reading(
        *(draw(st.sampled_from(["a", "b"])), draw(st.integers(0, 2)), boot, sequence, time_ms, time_ms + 500),
        **values,
        extra=as_text(extra),
    )


def as_text(extra: dict[str, float]) -> str | None:
    return json.dumps(extra, sort_keys=True, separators=(",", ":")) if extra else None


def part_of(row: Reading, kept: frozenset[str]) -> Reading:
    """The reading with only the quantities named."""
    blank: dict[str, Any] = {name: None for name in VALUE_COLUMNS if name not in kept}
    extra = {key: value for key, value in json.loads(row.extra or "{}").items() if key in kept}
    return row._replace(**blank, extra=as_text(extra))


@st.composite
def deliveries(draw: st.DrawFn) -> tuple[list[Reading], Packs]:
    """Distinct readings, and packs that hold every quantity of each at least once, in any order."""
    rows = draw(st.lists(one_reading(), min_size=1, max_size=12, unique_by=lambda row: row[:4]))
    everything = frozenset((*VALUE_COLUMNS, *EXTRA_KEYS))
    some = st.frozensets(st.sampled_from(sorted(everything)))
    pieces: list[Reading] = []
    for row in rows:
        kept = draw(some)
        pieces += [part_of(row, kept), part_of(row, everything - kept)]
    again = draw(st.lists(st.tuples(st.sampled_from(rows), some), max_size=20))
    pieces += [part_of(row, kept) for row, kept in again]
    shuffled = draw(st.permutations(pieces))
    cuts = sorted(draw(st.lists(st.integers(0, len(shuffled)), max_size=6)))
    packs = [list(shuffled[a:b]) for a, b in zip([0, *cuts], [*cuts, len(shuffled)], strict=True)]
    return rows, packs


def deliver(store: Store, packs: Sequence[Sequence[Reading]]) -> int:
    new = 0
    for pack in packs:
        with store.write() as tx:
            new += readings.insert(tx, pack)
    return new


def check_same_tables(store: Store, case: tuple[list[Reading], Packs]) -> None:
    rows, packs = case
    with emptied(store) as fresh:
        assert deliver(fresh, packs) == len(rows)
        assert all_readings(fresh) == sorted(rows, key=lambda row: row[:4])


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(case=deliveries())
def test_packs_in_any_order_and_overlap_give_the_same_tables_in_sqlite(
    sqlite_store: Store, case: tuple[list[Reading], Packs]
) -> None:
    check_same_tables(sqlite_store, case)


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(case=deliveries())
def test_packs_in_any_order_and_overlap_give_the_same_tables_in_postgresql(
    postgres_store: Store, case: tuple[list[Reading], Packs]
) -> None:
    check_same_tables(postgres_store, case)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(case=deliveries(), drift_ms=st.lists(st.integers(-5_000, 5_000), min_size=1, max_size=7))
def test_times_that_drift_between_deliveries_double_nothing(
    sqlite_store: Store, case: tuple[list[Reading], Packs], drift_ms: list[int]
) -> None:
    """Numbered readings sent with relative times: each delivery gives them another absolute time."""
    rows, packs = case
    drifting = [
        [
            row
            if row.boot == BOOT_UNNUMBERED
            else row._replace(time_ms=row.time_ms + drift_ms[n % len(drift_ms)])
            for n, row in enumerate(pack)
        ]
        for pack in packs
    ]
    with emptied(sqlite_store) as fresh:
        assert deliver(fresh, drifting) == len(rows)
        without_time = [row._replace(time_ms=0) for row in all_readings(fresh)]
    assert without_time == sorted((row._replace(time_ms=0) for row in rows), key=lambda row: row[:4])
