"""Troubles of one head: a fault with its beginning and end, the reason in words, and what to do about it."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from traywarden.domain.flags import LEFT_OUT, Flag
from traywarden.domain.qartod import FAIL, SUSPECT
from traywarden.domain.series import BoolArray, FloatArray, IntArray
from traywarden.domain.units import Display, f_from_c


class Fault(StrEnum):
    """What can be wrong with a head, named after the fault."""

    OUT_OF_RANGE = "out of range"
    POWER_UP_VALUE = "power-up value"
    DISCONNECTED = "disconnected"
    SPIKE = "spike"
    STUCK = "stuck"
    FAST_CHANGE = "fast change"
    CLOCK_IMPOSSIBLE = "clock impossible"
    FROZEN = "frozen"
    UNSEASONABLE = "unlike the season"
    LIFELESS = "hardly moves"
    UNLIKE_NEIGHBOURS = "unlike its neighbours"
    PULLED_OUT = "pulled out of the mix"
    IN_WATER = "in water"
    SWAPPED = "swapped with another head"
    IN_SUN = "warmed by direct sun"

    @property
    def do(self) -> str:
        """What to do about it, as one sentence."""
        return _DO[self]


_DO = {
    Fault.OUT_OF_RANGE: "Look at the wire and its plug; if they are dry and firm, change the sensor.",
    Fault.POWER_UP_VALUE: (
        "Nothing, if it happens now and then; if often, look at the thermometer's supply and pull-up."
    ),
    Fault.DISCONNECTED: "The thermometer does not answer: look at its wire and plug.",
    Fault.SPIKE: "Nothing, if rare; if often, look for a loose plug or a wet joint.",
    Fault.STUCK: "Touch the sensor: if the value does not move, change it.",
    Fault.FAST_CHANGE: "Nothing, if a lid was opened or the tray carried; else shade the sensor from sun.",
    Fault.CLOCK_IMPOSSIBLE: "See that the probe gets the time when it connects, and the host's own is right.",
    Fault.FROZEN: "The mix is frozen: cover the tray or carry it in; water it only after it has thawed.",
    Fault.UNSEASONABLE: "Compare with a thermometer in your hand; if it is off, change the sensor.",
    Fault.LIFELESS: "See that the sensor lies where you think it does, and is not under ice or in a heap.",
    Fault.UNLIKE_NEIGHBOURS: "Look at both: one of them is warmed, wet, misplaced or failing.",
    Fault.PULLED_OUT: "Push the head back into the mix, down to its line, where it was.",
    Fault.IN_WATER: "Lift the tray from its base tray to drain; if only the head is in water, put it back.",
    Fault.SWAPPED: "See which head is in which tray; put them back, or write it down with “probe place”.",
    Fault.IN_SUN: "Shade the air sensor on all sides but below, with air moving round it.",
}


@dataclass(frozen=True, slots=True)
class Stretch:
    """A span of readings [s since 1970], both ends included, and how many readings it holds."""

    start_s: float
    end_s: float
    readings: int


@dataclass(frozen=True, slots=True)
class Trouble:
    """One fault of one head. `code` is QARTOD's, 3 suspect or 4 bad; `lasting`: to the last reading."""

    head: str
    column: str
    fault: Fault
    start_s: float
    end_s: float
    lasting: bool
    readings: int
    code: int
    reason: str

    @property
    def do(self) -> str:
        return self.fault.do


JOIN_S = 3 * 3600.0
"""Faulty readings closer together than this are one trouble (common practice, no source)."""

_FLAG_FAULTS = {
    Flag.OUT_OF_RANGE: (Fault.OUT_OF_RANGE, "no tray, frame or bench reaches {low} to {high}"),
    Flag.POWER_UP_VALUE: (
        Fault.POWER_UP_VALUE,
        "exactly {power_up}, which the sensor holds before it has measured",
    ),
    Flag.DISCONNECTED: (Fault.DISCONNECTED, "{disconnected}, which drivers return when no sensor answers"),
    Flag.SPIKE: (Fault.SPIKE, "a jump to {low} … {high} that was back at the next reading"),
    Flag.STUCK: (Fault.STUCK, "it stayed within {low} … {high}"),
    Flag.FAST_CHANGE: (Fault.FAST_CHANGE, "it changed faster than weather does, up to {high}"),
    Flag.CLOCK_IMPOSSIBLE: (Fault.CLOCK_IMPOSSIBLE, "it is dated in the future or before the earliest year"),
    Flag.FROZEN: (Fault.FROZEN, "the mix was at or below {freezes} and has not thawed; ice reads as dry"),
}
UNITS = {
    "soil_temp_c": "°C",
    "air_temp_c": "°C",
    "rh_pct": "%",
    "moisture_m3_m3": "m³/m³",
    "battery_v": "V",
    "rain_mm": "mm",
}

_FIXED_C = {"power_up": 85.0, "disconnected": -127.0, "freezes": 0.0}


def stretches(time_s: FloatArray, faulty: BoolArray, join_s: float = JOIN_S) -> Iterator[Stretch]:
    """Runs of faulty readings; two that lie within `join_s` of each other are one.

    Parameters
    ----------
    time_s : array [s], ascending
    faulty : bool array
    join_s : float [s]

    Returns
    -------
    iterator of Stretch, oldest first

    Examples
    --------
    >>> found = stretches(np.array([0.0, 600, 1200, 90000]), np.array([True, False, True, True]))
    >>> [(s.start_s, s.end_s, s.readings) for s in found]
    [(0.0, 1200.0, 2), (90000.0, 90000.0, 1)]
    """
    where = np.flatnonzero(faulty)
    if not where.size:
        return
    cuts = np.flatnonzero(np.diff(time_s[where]) > join_s) + 1
    for run in np.split(where, cuts):
        yield Stretch(float(time_s[run[0]]), float(time_s[run[-1]]), int(run.size))


def flag_troubles(
    head: str,
    column: str,
    time_s: FloatArray,
    values: FloatArray,
    flags: IntArray,
    display: Display = Display(),  # noqa: B008 (frozen)
) -> list[Trouble]:
    """What the flags of one column say, as troubles.

    Parameters
    ----------
    head, column : str
    time_s : array [s], ascending
    values : array in the unit of the column
    flags : int array of Flag
    display : Display, the units of the words

    Returns
    -------
    list of Trouble, by flag and time; humidity above 100 % is none, as it is put right silently

    Notes
    -----
    A flag that leaves its value out of computation gives the code “bad”, the others “suspect”.
    """
    found: list[Trouble] = []
    measured = np.flatnonzero(~np.isnan(values))
    if not measured.size:
        return found
    last_s = float(time_s[measured[-1]])
    fixed = {name: display.temp(temp_c, 0) for name, temp_c in _FIXED_C.items()}
    for flag, (fault, words) in _FLAG_FAULTS.items():
        for run in stretches(time_s, (flags & flag) > 0):
            inside = (time_s >= run.start_s) & (time_s <= run.end_s) & ((flags & flag) > 0)
            low, high = float(np.nanmin(values[inside])), float(np.nanmax(values[inside]))
            reason = words.format(
                low=_without_unit(column, low, display), high=_shown(column, high, display), **fixed
            )
            code = FAIL if flag & LEFT_OUT else SUSPECT
            lasting = run.end_s >= last_s
            found.append(
                Trouble(head, column, fault, run.start_s, run.end_s, lasting, run.readings, code, reason)
            )
    return found


def _shown(column: str, value: float, display: Display) -> str:
    """A value with its unit: three digits after the point where they say something."""
    if UNITS[column] == "°C":
        return f"{_without_unit(column, value, display)} °{display.temperature}"
    return f"{_without_unit(column, value, display)} {UNITS[column]}"


def _without_unit(column: str, value: float, display: Display) -> str:
    if UNITS[column] == "°C" and display.temperature == "F":
        value = f_from_c(value)
    return f"{round(value, 3):g}"
