"""Writing the journal on both databases: what is refused, and what any run of corrections leaves standing."""

import random
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from traywarden.domain.journal import Kind, standing
from traywarden.domain.units import Display
from traywarden.errors import UsageError
from traywarden.services.journal import Draft, correct, put, seeds_sown, undo
from traywarden.services.journal_pages import Sought, journal_page
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store.store import Store

DAY_MS = 86_400_000
NOW_MS = 20_000 * DAY_MS


def made_tray(store: Store) -> int:
    with store.write() as tx:
        garden_store.set_garden(tx, "Hill", "Europe/Lisbon", now_ms=0)
        return garden_store.add_tray(tx, "A1", cells=10).tray_id


def test_an_entry_is_kept_with_what_is_known_and_without_what_is_not(store: Store) -> None:
    tray_id = made_tray(store)
    with store.write() as tx:
        draft = Draft(Kind.WATERED, NOW_MS, tray_id=tray_id, data={"how": "below", "litres": None})
        written = put(tx, draft, NOW_MS)
    with store.read() as tx:
        (kept,) = journal_store.entries(tx)
    assert kept == written
    assert kept.data == {"how": "below"}


def test_a_refused_entry_leaves_nothing_behind(store: Store) -> None:
    tray_id = made_tray(store)

    def write_both() -> None:
        with store.write() as tx:
            put(tx, Draft(Kind.WATERED, NOW_MS, tray_id=tray_id), NOW_MS)
            put(tx, Draft(Kind.EMERGED, NOW_MS, tray_id=tray_id, data={"count": 3}), NOW_MS)

    with pytest.raises(UsageError, match="Nothing stands sown"):
        write_both()
    with store.read() as tx:
        assert journal_store.entries(tx) == []


def test_seeds_sown_need_both_cells_and_seeds_per_cell(sqlite_store: Store) -> None:
    tray_id = made_tray(sqlite_store)
    with sqlite_store.write() as tx:
        tray = garden_store.tray_named(tx, "A1")
        by_tray = put(tx, Draft(Kind.SOWED, 0, tray_id=tray_id, data={"crop": "pea", "seeds_per_cell": 3}), 0)
        unknown = put(tx, Draft(Kind.SOWED, 0, tray_id=tray_id, data={"crop": "pea", "cells": 4}), 0)
    assert (seeds_sown(by_tray, tray), seeds_sown(unknown, tray)) == (30, None)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(seed=st.integers(0, 10_000), steps=st.integers(1, 12))
def test_whatever_is_corrected_and_undone_one_wording_stands_or_none(
    sqlite_store: Store, seed: int, steps: int
) -> None:
    """Against a stack: a correction pushes a wording, undoing it pops, undoing the first empties it."""
    choose = random.Random(seed)
    with sqlite_store.write() as tx:
        if garden_store.the_garden(tx) is None:
            garden_store.set_garden(tx, "Hill", "UTC", now_ms=0)
            garden_store.add_tray(tx, "A1")
        tray_id = garden_store.tray_named(tx, "A1").tray_id
        first = put(tx, Draft(Kind.WATERED, NOW_MS, tray_id=tray_id, data={"litres": 1}), NOW_MS)
        chain, stack, litres, taken_back = {first.entry_id}, [(first.entry_id, 1.0)], 1.0, None
        for _ in range(steps):
            if taken_back is not None:  # only the undo itself can be undone now
                chain.add(undo(tx, taken_back, NOW_MS).entry_id)
                taken_back = None
            elif choose.random() < 0.6:
                litres += 1.0
                made = correct(tx, stack[-1][0], NOW_MS, {"litres": litres})
                stack.append((made.entry_id, litres))
            elif len(stack) > 1:
                undo(tx, stack.pop()[0], NOW_MS)
            else:
                taken_back = undo(tx, stack[0][0], NOW_MS).entry_id
        entries = journal_store.entries(tx)
        held = [e for e in standing(entries) if e.entry_id >= first.entry_id]
        page = journal_page(tx, ZoneInfo("UTC"), Display(), Sought(tray_id=tray_id))
        lines = page.lines[::-1]
    expected = [] if taken_back is not None else [stack[-1][1]]
    assert [e.data["litres"] for e in held] == expected
    assert [x.data["litres"] for x in lines if x.entry >= first.entry_id] == expected
    assert all(line.state == "holds" for line in lines)
