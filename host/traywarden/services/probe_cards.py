"""Which probes have reported, where their heads are, and which still wait for a place."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from traywarden.domain.battery import BatteryTrend, battery_trend
from traywarden.domain.garden import Head
from traywarden.domain.journal import Facts
from traywarden.domain.readings import BOOT_IMPORTED
from traywarden.services.journal_words import Names
from traywarden.services.probe_health import ProbeHealth, probe_health
from traywarden.services.probe_settings import answered
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Tx
from traywarden.turns import give_way

DAY_MS = 86_400_000
TREND_DAYS = 14


@dataclass(frozen=True, slots=True)
class HeadCard:
    """One head: where it is now (`tray` or `place`), or how to place it. `air`: the probe's own."""

    head: str
    tray: str | None
    place: str | None
    waiting: bool
    place_with: str
    last_reading_ms: int | None
    head_id: int
    air: bool


@dataclass(frozen=True, slots=True)
class ProbeCard:
    """One probe: when it was last heard of, its battery [V], and its heads.

    `imported`: it is a logger whose readings come from files, so nobody waits to hear from it.
    `health` is what it says of itself, with the trend of its battery over TREND_DAYS days.
    `called`: what the grower calls it, else its own name.
    `settings` is what it answered to those the host asks of it: taken, refused (and why) or nothing yet.
    """

    probe: str
    first_seen_ms: int
    last_seen_ms: int
    battery_v: float | None
    state: str
    settings: str
    heads: tuple[HeadCard, ...]
    probe_id: int
    health: ProbeHealth
    imported: bool = False
    called: str = ""


def probe_cards(
    tx: Tx,
    now_ms: int,
    wanted: Mapping[str, Mapping[str, Any]] | None = None,
    *,
    as_of_then: bool = False,
) -> list[ProbeCard]:
    """Every probe that has reported, by name. `wanted`: what the host asks of each (`wanted_settings`).

    `as_of_then`: as it was at `now_ms`, by what is known today; readings that came later are left aside.
    """
    facts, names = journal_store.facts(tx), Names(tx)
    newest = reading_store.newest(tx, now_ms if as_of_then else None)
    heads = probe_store.heads(tx)
    cards = []
    for probe in probe_store.probes(tx):
        give_way()
        mine = [head for head in heads if head.probe == probe.name]
        volts, powered = _battery_v(tx, mine, newest)
        trend = BatteryTrend(None, 0) if powered is None else _trend(tx, powered, now_ms)
        cards.append(
            ProbeCard(
                probe.name,
                probe.first_seen_ms,
                probe.last_seen_ms,
                volts,
                str(probe.state.get("state", "")),
                answered(probe.state, (wanted or {}).get(probe.name)).words,
                _head_cards(mine, facts, names, newest, now_ms),
                probe.probe_id,
                probe_health(probe.state, volts, trend),
                _imported(tx, mine, newest),
                probe.called,
            )
        )
    return cards


def _head_cards(
    heads: list[Head], facts: Facts, names: Names, newest: dict[int, int], now_ms: int
) -> tuple[HeadCard, ...]:
    # The air sensor of a probe whose other heads stand in trays is where they are; it need not be placed.
    in_trays = any(facts.tray_of_head(head.head_id, now_ms) for head in heads)
    return tuple(
        _head_card(
            head, facts, names, newest.get(head.head_id), now_ms, follows=in_trays and head.number == 0
        )
        for head in heads
    )


def _head_card(
    head: Head, facts: Facts, names: Names, last_ms: int | None, now_ms: int, *, follows: bool
) -> HeadCard:
    stays = [s for s in (*facts.head_trays, *facts.head_places) if s.subject == head.head_id]
    held = next((s for s in stays if s.holds_at(now_ms)), None)
    tray = names.trays.get(held.where) if held in facts.head_trays else None
    place = names.places.get(held.where) if held is not None and tray is None else None
    waiting = held is None and not follows
    target = "--place PLACE" if head.number == 0 else "--tray TRAY"
    command = f"traywarden probe place {head.label} {target}" if held is None else ""
    return HeadCard(head.label, tray, place, waiting, command, last_ms, head.head_id, head.number == 0)


def _imported(tx: Tx, heads: list[Head], newest: dict[int, int]) -> bool:
    """Whether the newest reading of every head came from a file."""
    known = [(head.head_id, newest[head.head_id]) for head in heads if head.head_id in newest]
    boots = [reading_store.columns(tx, head_id, at_ms, at_ms + 1).boot for head_id, at_ms in known]
    return bool(boots) and all(bool(np.all(boot == BOOT_IMPORTED)) for boot in boots)


def _battery_v(tx: Tx, heads: list[Head], newest: dict[int, int]) -> tuple[float, int] | tuple[None, None]:
    """The latest battery voltage among the heads' newest readings, and the head it came with."""
    latest: tuple[int, float, int] | None = None
    for head in heads:
        at_ms = newest.get(head.head_id)
        if at_ms is None:
            continue
        volts = reading_store.columns(tx, head.head_id, at_ms, at_ms + 1).values["battery_v"]
        known = volts[np.isfinite(volts)]
        if known.size and (latest is None or at_ms > latest[0]):
            latest = (at_ms, float(known[-1]), head.head_id)
    return (latest[1], latest[2]) if latest else (None, None)


def _trend(tx: Tx, head_id: int, now_ms: int) -> BatteryTrend:
    columns = reading_store.columns(tx, head_id, now_ms - TREND_DAYS * DAY_MS, now_ms + 1)
    return battery_trend(columns.time_ms / 1000.0, columns.values["battery_v"])
