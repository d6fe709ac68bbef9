"""The journal is only ever added to, and tells what stood where at any instant."""

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from traywarden.domain.journal import Entry, Facts, Kind, standing
from traywarden.errors import UsageError
from traywarden.store import garden, journal, probes
from traywarden.store.store import Store, Tx

DAY_MS = 86_400_000


def stocked(tx: Tx) -> dict[str, int]:
    """Ids of two trays, two places, two mixes and a head."""
    heads = probes.ensure_heads(tx, [("p", 1)], at_ms=0)
    return {
        "tray": garden.add_tray(tx, "A").tray_id,
        "other tray": garden.add_tray(tx, "B").tray_id,
        "bench": garden.add_place(tx, "bench", "open bench").place_id,
        "frame": garden.add_place(tx, "frame", "cold frame").place_id,
        "peat": garden.add_mix(tx, "peat", {}).mix_id,
        "bark": garden.add_mix(tx, "bark", {}).mix_id,
        "head": heads["p", 1],
    }


def test_an_entry_comes_back_as_it_was_written(store: Store) -> None:
    with store.write() as tx:
        ids = stocked(tx)
        lot = garden.add_lot(tx, "L", "tomato").lot_id
        data = {"crop": "tomato", "cells": 72, "depth_mm": 6.5}
        written = journal.write(
            tx, Kind.SOWED, 5, 9, tray_id=ids["tray"], lot_id=lot, data=data, note="früh", replaces=None
        )
    with store.read() as tx:
        assert journal.entries(tx) == [written]
    assert written == Entry(1, 5, 9, Kind.SOWED, tray_id=ids["tray"], lot_id=lot, data=data, note="früh")


def test_what_stood_where_can_be_asked_for_any_past_instant(store: Store) -> None:
    with store.write() as tx:
        ids = stocked(tx)
        tray, head = ids["tray"], ids["head"]
        # written on day 9, in no particular order, about days 1 to 6
        facts_told: list[tuple[Kind, int, dict[str, Any]]] = [
            (Kind.MOVED, 4, {"tray_id": tray, "place_id": ids["frame"]}),
            (Kind.MOVED, 1, {"tray_id": tray, "place_id": ids["bench"]}),
            (Kind.FILLED, 1, {"tray_id": tray, "mix_id": ids["peat"]}),
            (Kind.FILLED, 6, {"tray_id": tray, "mix_id": ids["bark"]}),
            (Kind.HEAD_PLACED, 2, {"head_id": head, "tray_id": tray}),
            (Kind.HEAD_TAKEN_OUT, 5, {"head_id": head}),
        ]
        for kind, day, what in facts_told:
            journal.write(tx, kind, day * DAY_MS, 9 * DAY_MS, **what)
        facts = journal.facts(tx)

    def at(day: float) -> tuple[int | None, int | None, int | None]:
        ms = int(day * DAY_MS)
        return facts.place_of_tray(tray, ms), facts.mix_of_tray(tray, ms), facts.tray_of_head(head, ms)

    assert at(0.9) == (None, None, None)
    assert at(1) == (ids["bench"], ids["peat"], None)
    assert at(3.9) == (ids["bench"], ids["peat"], tray)
    assert at(4) == (ids["frame"], ids["peat"], tray)
    assert at(5) == (ids["frame"], ids["peat"], None)
    assert at(99) == (ids["frame"], ids["bark"], None)


def test_a_correction_replaces_an_undo_takes_back_and_an_undone_undo_restores(store: Store) -> None:
    with store.write() as tx:
        ids = stocked(tx)
        tray = ids["tray"]

        def place_on_day_2() -> int | None:
            return journal.facts(tx).place_of_tray(tray, 2 * DAY_MS)

        first = journal.write(tx, Kind.MOVED, DAY_MS, 0, tray_id=tray, place_id=ids["bench"])
        assert place_on_day_2() == ids["bench"]
        better = journal.write(
            tx, Kind.MOVED, DAY_MS, 1, tray_id=tray, place_id=ids["frame"], replaces=first.entry_id
        )
        assert place_on_day_2() == ids["frame"]
        undo = journal.write(tx, Kind.UNDONE, 2, 2, replaces=better.entry_id)
        assert place_on_day_2() == ids["bench"]
        journal.write(tx, Kind.UNDONE, 3, 3, replaces=undo.entry_id)
        assert place_on_day_2() == ids["frame"]
        assert len(journal.entries(tx)) == 4  # nothing is overwritten


def test_an_undo_or_correction_of_nothing_is_refused(store: Store) -> None:
    with pytest.raises(UsageError, match="must name the entry"), store.write() as tx:
        journal.write(tx, Kind.UNDONE, 0, 0)
    with pytest.raises(UsageError, match="no journal entry 12"), store.write() as tx:
        journal.write(tx, Kind.NOTED, 0, 0, replaces=12)


def test_numbers_of_entries_are_never_given_out_again(store: Store) -> None:
    """A correction names its entry by number: a number may not come to mean another entry."""
    with store.write() as tx:
        last = journal.write(tx, Kind.NOTED, 0, 0)
        tx.execute(text("DELETE FROM journal"))
        assert journal.write(tx, Kind.NOTED, 0, 0).entry_id > last.entry_id


steps = st.lists(
    st.tuples(st.sampled_from([Kind.NOTED, Kind.UNDONE]), st.none() | st.integers(0, 11)), max_size=12
)


@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=steps)
def test_what_holds_after_any_chain_of_corrections_and_undos(
    sqlite_store: Store, steps: list[tuple[Kind, int | None]]
) -> None:
    """Against the rule said the other way round: an entry holds when nothing that counts replaces it; a
    correction or undo counts, corrected or not, until an undo that counts takes it back."""
    with sqlite_store.write() as tx:
        tx.execute(text("UPDATE journal SET replaces = NULL"))
        tx.execute(text("DELETE FROM journal"))
        written: list[Entry] = []
        for kind, target in steps:
            replaces = written[target].entry_id if target is not None and target < len(written) else None
            if kind is Kind.NOTED or replaces is not None:
                written.append(journal.write(tx, kind, len(written), 0, replaces=replaces))
        entries = journal.entries(tx)

    def counts(entry: Entry) -> bool:
        return not any(e.kind is Kind.UNDONE and counts(e) for e in written if e.replaces == entry.entry_id)

    def holds(entry: Entry) -> bool:
        return not any(counts(later) for later in written if later.replaces == entry.entry_id)

    expected = [entry for entry in written if holds(entry) and entry.kind is not Kind.UNDONE]
    assert entries == written
    assert standing(entries) == Facts(entries).entries == expected
