"""Rules of a tray that look ahead or back over days: dry before the next visit, seed late, out of level."""

from collections.abc import Sequence
from typing import NamedTuple

from traywarden.domain.lateness import Cause, likeliest
from traywarden.domain.lateness import Verdict as CauseVerdict
from traywarden.domain.rules import Answer, Facts, Verdict

DRYING_SOURCE = "its own drying and the dry line of its mix"
LATE_SOURCE = "published days to emergence and what was seen in this garden"
TILTED_SOURCE = "where both ends settle after watering from below; common practice, no source"
HELPS = {
    "cold": "Give it warmth: a frame, a cover, or indoors.",
    "heat": "Give it shade, and sow again in the evening.",
    "dried out": "Water it, and keep it from drying out; sow again if it stays bare for a week.",
    "drowned": "Lift it to drain; dig for a seed, and sow again if that is soft.",
    "old or weak seed": "Test the lot on wet paper, or sow fresh seed.",
}
LOOK = "Look today whether any is up and write it down; dig for a seed: firm ones may still come."


def drying_verdict(
    dry_in_s: float | None,
    visit_in_s: float,
    *,
    spare_s: float,
    by: str,
    visit: str,
    line: str,
    already_dry: bool = False,
    why_blind: str = "",
) -> Verdict:
    """Whether a tray will be dry before the grower is next likely at the bench.

    Parameters
    ----------
    dry_in_s : float or None [s]
        From now until its driest head reaches the dry line; None where no outlook can be given.
    visit_in_s : float [s]
        From now until the next likely visit.
    spare_s : float [s]
        Foreseen dry this long after the visit or earlier, the state stays as it is.
    by, visit, line : str
        When it will be dry, when the visit is, and the dry line, in words.
    already_dry : bool
        It is below its dry line now, which another rule tells.
    why_blind : str

    Returns
    -------
    Verdict
        Facts: `dry_in_s`, `visit_in_s`, `by`, `do`, `source`.

    Example
    -------
    >>> drying_verdict(3600, 7200, spare_s=600, by="13:00", visit="18:00", line="40 %").answer.value
    'yes'
    """
    if already_dry:
        return Verdict(Answer.NO, "it is below its dry line already", at_once=True)
    if dry_in_s is None:
        return Verdict(Answer.BLIND, why_blind or "no outlook can be given for it")
    facts: Facts = {
        "dry_in_s": round(dry_in_s),
        "visit_in_s": round(visit_in_s),
        "by": by,
        "do": "Water it now, or before you leave.",
        "source": DRYING_SOURCE,
    }
    words = f"drying as it does, it reaches its dry line of {line} {by}"
    if dry_in_s < visit_in_s:
        return Verdict(Answer.YES, f"{words}, and you are likely back only {visit}", facts)
    if dry_in_s < visit_in_s + spare_s:
        return Verdict(Answer.HOLD, f"{words}, about when you are likely back {visit}", facts)
    return Verdict(Answer.NO, f"{words}; you are likely back {visit}", facts)


def late_verdict(
    *,
    sown: bool,
    up: bool,
    overdue: bool | None,
    crop: str,
    sown_on: str,
    due: str,
    causes: Sequence[Cause] = (),
    why_blind: str = "",
) -> Verdict:
    """Whether seed is late, and why that may be.

    Parameters
    ----------
    sown, up : bool
        Whether a sowing stands there, and whether any of it was seen up.
    overdue : bool or None
        Whether the first seedling should have shown by now; None where it cannot be told.
    crop, sown_on, due : str
        What was sown, when, and how far it should have come, in words.
    causes : sequence of Cause
        What is known to hold seed up, judged.

    Returns
    -------
    Verdict
        Facts: `crop`, `cause`, `do`, `source`.
    """
    if not sown:
        return Verdict(Answer.NO, "nothing is sown in it", at_once=True)
    if up:
        return Verdict(Answer.NO, f"the {crop} is up", at_once=True)
    if overdue is None:
        return Verdict(Answer.BLIND, why_blind or "whether it is late cannot be told")
    if not overdue:
        return Verdict(Answer.NO, f"{crop}, sown {sown_on}, is not late: {due}")
    likely = likeliest(causes)
    sure = bool(likely) and likely[0].verdict is CauseVerdict.LIKELY
    first = likely[0] if likely else None
    cause = "no cause shows in its record" if first is None else f"{first.name}: {first.says}"
    how = "likely cause" if sure else "possible cause"
    facts: Facts = {
        "crop": crop,
        "cause": "" if first is None else first.name,
        "do": f"{LOOK} {HELPS.get(first.name, '') if first else ''}".strip(),
        "source": LATE_SOURCE,
    }
    told = cause if first is None else f"{how}: {cause}"
    return Verdict(Answer.YES, f"{crop}, sown {sown_on}, is late: {due}; {told}", facts)


class TwoEnds(NamedTuple):
    """What the comparison of two ends says: “out of level”, “level” or “cannot tell”, and in a sentence.

    `evened`: as far as can be told it was put level, by what its newest waterings show. `put`: what was done
    to how it stands since it was told that it is out of level, in words; empty where nothing was.
    """

    said: str
    sentence: str
    evened: bool = False
    put: str = ""


def tilted_verdict(found: Sequence[TwoEnds]) -> Verdict:
    """Whether a tray, or the base it stands on, is out of level.

    Parameters
    ----------
    found : sequence of TwoEnds

    Returns
    -------
    Verdict

    Notes
    -----
    Whoever put it level has done what the notice asked for, so that it ends at once; what is watered from
    below from then on tells anew.

    Example
    -------
    >>> tilted_verdict([TwoEnds("level", "A is level."), TwoEnds("out of level", "A is high.")]).answer.value
    'yes'
    >>> tilted_verdict([TwoEnds("cannot tell", "Cannot tell yet.", put="put level at 08:00")]).reason
    'it was put level at 08:00, and no watering from below since shows it out of level'
    """
    facts: Facts = {"do": "Lower the high end, or raise the other.", "source": TILTED_SOURCE}
    out = [ends for ends in found if ends.said == "out of level"]
    even = [ends for ends in found if ends.said == "level" or ends.evened]
    put = next((ends.put for ends in found if ends.put), "")
    if out:
        return Verdict(Answer.YES, out[0].sentence.rstrip("."), facts)
    if put and all(ends.put or ends in even for ends in found):
        since = f"it was {put}, and no watering from below since shows it out of level"
        return Verdict(Answer.NO, since, facts, at_once=True)
    if even:
        return Verdict(Answer.NO, even[0].sentence.rstrip("."), facts)
    return Verdict(Answer.BLIND, found[0].sentence.rstrip(".") if found else "no two ends of it are measured")
