"""What a probe says of itself, in words: signal, spool, faults. Nothing of it is trusted."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from traywarden.domain.battery import LOW_V, ONE_CELL_V, BatteryTrend, battery_means

STRONG_DBM, WEAK_DBM = -65, -78
"""Limits of a strong and a weak signal, as the power budget of the probe uses them (common practice)."""
MOST_FAULTS, LONGEST_FAULT = 8, 200


@dataclass(frozen=True, slots=True)
class ProbeHealth:
    """What its last state says; None where it says nothing of it, as a sensor of another make does.

    `spool`: readings that wait in the probe; `lost`: those it had to drop, its memory being full or damaged.
    """

    signal_dbm: int | None
    signal: str
    spool: int | None
    lost: int | None
    faults: tuple[str, ...]
    battery: BatteryTrend
    battery_way: str
    battery_low: bool
    battery_says: str

    @property
    def spool_says(self) -> str:
        if self.spool is None:
            return "It says nothing of readings that wait in it."
        waits = "No reading waits in it" if not self.spool else f"{self.spool} readings wait in it"
        lost = f"; {self.lost} were lost in it, as its memory was full or damaged" if self.lost else ""
        return f"{waits}{lost}."


def probe_health(state: Mapping[str, Any], battery_v: float | None, trend: BatteryTrend) -> ProbeHealth:
    dropped, damaged = _whole(state, "dropped"), _whole(state, "damaged")
    lost = None if dropped is None and damaged is None else (dropped or 0) + (damaged or 0)
    signal_dbm = state.get("rssi")
    known = isinstance(signal_dbm, int) and not isinstance(signal_dbm, bool) and -130 <= signal_dbm < 0
    faults = state.get("faults")
    told = faults if isinstance(faults, list) else []
    return ProbeHealth(
        int(signal_dbm) if known and signal_dbm is not None else None,
        _signal(int(signal_dbm)) if known and signal_dbm is not None else "",
        _whole(state, "spool"),
        lost,
        tuple(each[:LONGEST_FAULT] for each in told[:MOST_FAULTS] if isinstance(each, str) and each.strip()),
        trend,
        "" if battery_v is None else trend.way,
        battery_v is not None and ONE_CELL_V[0] <= battery_v < LOW_V,
        "" if battery_v is None else battery_means(battery_v),
    )


def _signal(signal_dbm: int) -> str:
    if signal_dbm >= STRONG_DBM:
        return "strong"
    return "fair" if signal_dbm >= WEAK_DBM else "weak"


def _whole(state: Mapping[str, Any], name: str) -> int | None:
    value = state.get(name)
    return value if isinstance(value, int) and not isinstance(value, bool) and value >= 0 else None
