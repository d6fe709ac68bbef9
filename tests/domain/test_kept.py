"""What was kept gives just what would be worked out anew, and nothing else is ever found under its digest."""

import hashlib
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from functools import partial
from typing import TypeVar

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.domain.heads import head_columns
from tests.domain.made_trays import made_tray
from traywarden.domain import dry_down, flags, wetting
from traywarden.domain.dry_down import DryDown, DryDownParams, dry_downs
from traywarden.domain.kept import BLOCK_S, kept_fit, kept_wettings
from traywarden.domain.quality import flag_columns
from traywarden.domain.readings import VALUE_COLUMNS
from traywarden.domain.series import FloatArray
from traywarden.domain.waterings import SETTLED_S, find_wettings, see_wettings

T = TypeVar("T")


class Memory:
    """Keeps everything, and counts what it was asked for in vain."""

    def __init__(self) -> None:
        self.kept: dict[bytes, object] = {}
        self.expected: Sequence[bytes] = ()
        self.missed = 0

    def expect(self, keys: Sequence[bytes]) -> None:
        self.expected = keys

    def get(self, key: bytes, kind: type[T]) -> T | None:
        self.missed += key not in self.kept
        found = self.kept.get(key)
        assert found is None or isinstance(found, kind)
        return found

    def put(self, key: bytes, value: object) -> None:
        self.kept[key] = value

    def needed(self, keys: Iterable[bytes]) -> None:
        assert set(keys) <= self.kept.keys()


def record(seed: int, days: int = 40, spacing_s: float = 1800.0) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Weeks of a tray that swings with the day, may freeze, has gaps, and is watered now and then."""
    rng = np.random.default_rng(seed)
    tray = made_tray(
        spacing_s=spacing_s, days=days, every_days=int(rng.integers(1, 9)), seed=seed,
        climb_s=float(rng.choice([300, 5400, 20000])), swing_m3_m3=float(rng.choice([0.0, 0.015, 0.03])),
    )  # fmt: skip
    time_s, wet, temps = (
        tray.time_s,
        tray.moisture_m3_m3.copy(),
        tray.soil_temp_c - float(rng.choice([0, 0, 15])),
    )
    wet[rng.random(wet.size) < rng.choice([0.0, 0.05, 0.6])] = np.nan
    temps[rng.random(temps.size) < rng.choice([0.0, 0.1, 0.9])] = np.nan
    kept = np.ones(time_s.size, np.bool_)
    for first in rng.integers(0, time_s.size, 4):
        kept[first : first + int(rng.choice([3, 12, 90]))] = False
    return time_s[kept], wet[kept], temps[kept]


@settings(max_examples=60)
@given(seed=st.integers(0, 10_000), part=st.floats(0.0, 1.0))
def test_a_pass_goes_on_from_any_instant_as_if_it_had_never_stopped(seed: int, part: float) -> None:
    """From anywhere, and from right after a wetting was over, when there is most to get wrong."""
    time_s, wet, temps = record(seed)
    whole = see_wettings(time_s, wet, temps)
    over = [int(np.searchsorted(time_s, s.settled_s)) for s in whole if not np.isnan(s.settled_s)]
    for cut in [int(part * time_s.size), *(at + more for at in over for more in (1, 2, 15))]:
        if not np.isfinite(temps[:cut]).any():  # a sensor not there yet: a digest tells the two apart
            continue
        end_s = (time_s[cut] if cut < time_s.size else time_s[-1] + 1) - SETTLED_S
        settled = [s for s in see_wettings(time_s[:cut], wet[:cut], temps[:cut]) if s.settled_s <= end_s]
        assert settled == [s for s in whole if s.settled_s <= end_s]
        assert see_wettings(time_s, wet, temps, seen=settled) == whole


@settings(max_examples=40)
@given(seed=st.integers(0, 10_000), cuts=st.lists(st.floats(0.0, 1.0), max_size=4))
def test_kept_wettings_are_those_found_anew_however_often_one_looks(seed: int, cuts: list[float]) -> None:
    time_s, wet, temps = record(seed)
    memory = Memory()
    for part in [*cuts, 1.0]:
        cut = int(part * time_s.size)
        found = kept_wettings(time_s[:cut], wet[:cut], temps[:cut], memory)
        assert [s.wetting for s in found] == find_wettings(time_s[:cut], wet[:cut], temps[:cut])


@settings(max_examples=40)
@given(
    seed=st.integers(0, 10_000),
    at=st.floats(0.0, 0.7),
    weeks=st.floats(1.3, 4.0),
    cuts=st.lists(st.floats(0.0, 1.0), min_size=2, max_size=4),
)
def test_kept_wettings_are_those_found_anew_around_weeks_without_a_reading(
    seed: int, at: float, weeks: float, cuts: list[float]
) -> None:
    """Whole blocks are empty then; a probe put away over the winter."""
    time_s, wet, temps = record(seed, days=70)
    off_s = time_s[0] + at * (time_s[-1] - time_s[0])
    there = (time_s < off_s) | (time_s > off_s + weeks * 7 * 86_400)
    time_s, wet, temps = time_s[there], wet[there], temps[there]
    memory = Memory()
    for part in [*sorted(cuts), 1.0]:
        cut = int(part * time_s.size)
        found = kept_wettings(time_s[:cut], wet[:cut], temps[:cut], memory)
        assert [s.wetting for s in found] == find_wettings(time_s[:cut], wet[:cut], temps[:cut])


@settings(max_examples=40)
@given(
    seed=st.integers(0, 10_000),
    at=st.floats(0.0, 0.999),
    change=st.sampled_from([0.2, -0.2, np.nan]),
    soil=st.booleans(),
)
def test_a_changed_reading_spoils_the_blocks_from_its_own_on_and_no_earlier_one(
    seed: int, at: float, change: float, soil: bool
) -> None:
    time_s, wet, temps = record(seed)
    memory = Memory()
    kept_wettings(time_s, wet, temps, memory)
    memory.missed = 0
    kept_wettings(time_s, wet, temps, memory)
    assert memory.missed == 0
    where = int(at * time_s.size)
    old = temps if soil else wet
    changed = old.copy()
    changed[where] = change if np.isnan(old[where]) else old[where] + 50 * change
    ever_soil = np.isfinite(temps).any() == np.isfinite(changed).any()
    if np.array_equal(changed, old, equal_nan=True) or (soil and not ever_soil):
        return
    before = set(memory.kept)
    now = (time_s, wet, changed) if soil else (time_s, changed, temps)
    found = kept_wettings(*now, memory)
    assert [s.wetting for s in found] == find_wettings(*now)
    blocks_after = int(time_s[-1] // BLOCK_S) - int(time_s[where] // BLOCK_S)
    assert len(set(memory.kept) - before) == blocks_after + 1  # and the whole


def test_dry_downs_come_from_memory_and_a_late_reading_costs_its_own_stretch_alone() -> None:
    tray = made_tray(spacing_s=1800.0, days=30, every_days=5, seed=3)
    wettings = find_wettings(tray.time_s, tray.moisture_m3_m3, tray.soil_temp_c)
    memory = Memory()
    ask = partial(dry_downs, container_capacity_m3_m3=0.5, mid_m3_m3=0.3)
    fresh = ask(tray.time_s, tray.moisture_m3_m3, wettings)
    fit = partial(kept_fit, memory)
    for missed in (len(fresh), 0):
        memory.missed = 0
        assert ask(tray.time_s, tray.moisture_m3_m3, wettings, fit=fit) == fresh
        assert memory.missed == missed
    memory.missed = 0
    late = tray.moisture_m3_m3.copy()
    late[np.searchsorted(tray.time_s, fresh[2].start_s) + 3] -= 0.002
    changed = ask(tray.time_s, late, wettings, fit=fit)
    assert memory.missed == 1
    assert [a == b for a, b in zip(changed, fresh, strict=True)] == [n != 2 for n in range(len(fresh))]


@pytest.mark.parametrize(
    "another",
    [
        partial(dry_downs, container_capacity_m3_m3=0.51, mid_m3_m3=0.3),
        partial(dry_downs, container_capacity_m3_m3=0.5, mid_m3_m3=0.31),
        partial(dry_downs, container_capacity_m3_m3=0.5, mid_m3_m3=0.3, residual_m3_m3=0.1),
        partial(dry_downs, container_capacity_m3_m3=0.5, mid_m3_m3=0.3, params=DryDownParams(least_points=9)),
    ],
)
def test_another_mix_is_another_fit(another: Callable[..., list[DryDown]]) -> None:
    tray = made_tray(spacing_s=1800.0, days=5, watered_h=(8.0,), every_days=9, seed=3)
    memory = Memory()
    fit = partial(kept_fit, memory)
    dry_downs(tray.time_s, tray.moisture_m3_m3, [], container_capacity_m3_m3=0.5, mid_m3_m3=0.3, fit=fit)
    memory.missed = 0
    found = another(tray.time_s, tray.moisture_m3_m3, [], fit=fit)
    assert memory.missed == len(found)


def _rounded(value: object) -> object:
    if isinstance(value, float):
        return float(f"{value:.6g}")
    if isinstance(value, dict):
        return {key: _rounded(part) for key, part in value.items()}
    return [_rounded(part) for part in value] if isinstance(value, list | tuple) else value


def _digest(found: object) -> str:
    return hashlib.sha256(json.dumps(_rounded(found), sort_keys=True).encode()).hexdigest()[:16]


WRITTEN = {
    "flags": (1, "d9cdea7833aaf0a0"),
    "wettings": (1, "5080ac963ffb280d"),
    "dry-downs": (1, "07fa64332271c1f4"),
}
"""The version of each set of rules, and what they say of the records below. Packed days and kept results bear
the version: when a digest changes, raise the version (flags.RULES, wetting.RULES, dry_down.RULES), and write
both here; else stores go on answering by the old rules."""


def test_rules_that_say_something_else_bear_another_version() -> None:
    heads = [record(seed) for seed in range(12)]
    said: dict[str, list[object]] = {name: [] for name in WRITTEN}
    for seed, (time_s, wet, temps) in enumerate(heads):
        rng = np.random.default_rng(seed)
        faulty = temps.copy()
        faulty[rng.integers(0, faulty.size, 6)] = rng.choice([-127.0, 85.0, 300.0, 45.0], 6)
        air = np.where(rng.random(temps.size) < 0.01, 120.0, np.repeat(temps[::16], 16)[: temps.size])
        columns = head_columns(
            (time_s * 1000).astype(np.int64), soil_temp_c=faulty, moisture_m3_m3=wet,
            moisture_v=2.6 - 2 * wet, air_temp_c=air, rh_pct=np.clip(140 - 3 * air, 0, 125),
        )  # fmt: skip
        flagged = flag_columns(columns, earliest_ms=0)
        said["flags"].append([flagged[name].tolist() for name in VALUE_COLUMNS])
        wettings = find_wettings(time_s, wet, temps)
        said["wettings"].append([asdict(w) for w in wettings])
        stretches = dry_downs(time_s, wet, wettings, temps, container_capacity_m3_m3=0.5)
        said["dry-downs"] += [(s.n, s.ended_by, s.residual_held, s.reason[:20], s.told) for s in stretches]
        # two digits, as the last ones hang on the machine
        said["dry-downs"] += [f"{s.tau_s:.2g} {s.rate_pct_per_day:.2g}" for s in stretches if s.told]
    versions = {"flags": flags.RULES, "wettings": wetting.RULES, "dry-downs": dry_down.RULES}
    assert {name: (versions[name], _digest(found)) for name, found in said.items()} == WRITTEN
