"""Rules of a probe: gone quiet, battery low, a head faulty or out of its mix, a clock that is wrong."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from traywarden.domain.rules import Answer, Facts, Verdict
from traywarden.domain.units import list_words, span_words

QUIET_DO = "Look at its battery and its Wi-Fi; until it is heard, look at its trays yourself."
BATTERY_DO = "Charge it or change the cell; it may fall silent within days."
NO_SOURCE = "common practice, no source"
NOT_IN_USE = "none of its heads is placed, or its readings come from files"


@dataclass(frozen=True, slots=True)
class HeadFault:
    """One lasting fault of one head: its label, its name, why, and what to do."""

    head: str
    fault: str
    reason: str
    do: str


def quiet_verdict(
    silent_s: float | None,
    *,
    after_s: float,
    in_use: bool,
    where: str,
    battery_v: float | None,
    heard_for_s: float = math.inf,
) -> Verdict:
    """Whether nothing was measured by a probe for too long.

    Parameters
    ----------
    silent_s : float or None [s]
        Since its newest reading; None: it never sent one.
    after_s : float [s]
    in_use : bool
        Whether a head of it is placed and its readings do not come from files.
    where : str
        Where its heads are, in words.
    battery_v : float or None [V]
        What its battery had when it was last heard.
    heard_for_s : float [s]
        For how long readings could come in: the host ran and the broker was in reach.

    Returns
    -------
    Verdict
        Facts: `silent_s`, `after_s`, `battery_v`, `do`, `source`.

    Notes
    -----
    Silence in which nothing could have come in proves nothing of the probe: blind, until it could.

    Example
    -------
    >>> quiet_verdict(9000.0, after_s=7200.0, in_use=True, where="A1", battery_v=None).answer.value
    'yes'
    """
    if not in_use:
        return Verdict(Answer.NO, NOT_IN_USE, at_once=True)
    if silent_s is None:
        return Verdict(Answer.BLIND, "it has not sent a reading yet")
    last = "" if battery_v is None else f" Its battery had {battery_v:.2f} V then."
    facts: Facts = {
        "silent_s": round(silent_s),
        "after_s": after_s,
        "battery_v": battery_v,
        "do": f"{QUIET_DO}{last}",
        "source": NO_SOURCE,
    }
    told = f"nothing was measured for {span_words(silent_s)} in {where}"
    if silent_s > after_s >= heard_for_s:
        return Verdict(Answer.BLIND, f"{told}, but readings could come in for {span_words(heard_for_s)} only")
    if silent_s > after_s:
        return Verdict(Answer.YES, f"{told}; {span_words(after_s)} is the limit", facts)
    ago = f"{span_words(silent_s)} ago" if silent_s >= 60.0 else "just now"
    return Verdict(Answer.NO, f"it was heard {ago}", facts)


def battery_verdict(
    battery_v: float | None, *, in_use: bool, below_v: float, close_above_v: float, trend: str = ""
) -> Verdict:
    """Whether a probe's battery is nearly empty.

    Parameters
    ----------
    battery_v : float or None [V]
        Of one lithium cell; None where it is not told or is no such cell.
    in_use : bool
    below_v, close_above_v : float [V]
        Low below the first; no longer low the second above it.
    trend : str
        Which way it goes, in words.

    Returns
    -------
    Verdict
        Facts: `battery_v`, `below_v`, `do`, `source`.

    Example
    -------
    >>> battery_verdict(3.41, in_use=True, below_v=3.5, close_above_v=0.1).answer.value
    'yes'
    """
    if not in_use:
        return Verdict(Answer.NO, NOT_IN_USE, at_once=True)
    if battery_v is None:
        return Verdict(Answer.BLIND, "it tells no volts of one lithium cell")
    facts: Facts = {
        "battery_v": round(battery_v, 2),
        "below_v": below_v,
        "do": BATTERY_DO,
        "source": NO_SOURCE,
    }
    now = f"its battery has {battery_v:.2f} V" + (f" and {trend}" if trend else "")
    if battery_v < below_v:
        return Verdict(Answer.YES, f"{now}; below {below_v:g} V a cell is nearly empty", facts)
    if battery_v < below_v + close_above_v:
        return Verdict(Answer.HOLD, f"{now}, just above {below_v:g} V", facts)
    return Verdict(Answer.NO, now, facts)


def faults_verdict(
    faults: Sequence[HeadFault],
    *,
    in_use: bool,
    measured: bool,
    well: str,
    held: str = "",
    why_blind: str = "",
) -> Verdict:
    """Whether heads of a probe have a lasting fault.

    Parameters
    ----------
    faults : sequence of HeadFault
        That last up to the newest reading.
    in_use, measured : bool
        Whether a head of it is placed, and whether anything was measured lately.
    well : str
        What is said where there is none.
    held : str
        Why what was found before may last, though it does not show; empty where it does not.
    why_blind : str
        Why it cannot be seen whether what was found before lasts; empty where it can.

    Returns
    -------
    Verdict
        Facts: `heads`, `do`, `source`.
    """
    if not in_use:
        return Verdict(Answer.NO, NOT_IN_USE, at_once=True)
    if not measured:
        return Verdict(Answer.BLIND, "nothing was measured by it lately")
    if not faults:
        if why_blind:
            return Verdict(Answer.BLIND, why_blind)
        return Verdict(Answer.HOLD, held) if held else Verdict(Answer.NO, well)
    facts: Facts = {
        "heads": list_words(dict.fromkeys(f.head for f in faults)),
        "do": " ".join(dict.fromkeys(f.do for f in faults)),
        "source": NO_SOURCE,
    }
    said = "; ".join(f"head {f.head}: {f.fault}, {f.reason}" for f in faults)
    return Verdict(Answer.YES, said, facts)
