"""Rules of the host itself: disk filling, broker out of reach, storing slow, notices given up."""

from traywarden.domain.rules import Answer, Facts, Verdict
from traywarden.domain.units import span_words

NO_SOURCE = "common practice, no source"


def disk_verdict(free_mb: float | None, *, least_free_mb: float) -> Verdict:
    """Whether room for readings runs out.

    Parameters
    ----------
    free_mb : float or None [MB]
    least_free_mb : float [MB]
        Little below this; no longer little from half as much more.

    Returns
    -------
    Verdict

    Example
    -------
    >>> disk_verdict(120.0, least_free_mb=500.0).answer.value
    'yes'
    """
    if free_mb is None:
        return Verdict(Answer.BLIND, "how much room is left cannot be told")
    facts: Facts = {
        "free_mb": round(free_mb),
        "least_free_mb": least_free_mb,
        "do": "Make room: on a full disk no reading can be stored, and probes keep theirs only so long.",
        "source": NO_SOURCE,
    }
    now = f"{free_mb:,.0f} MB are free where the garden is kept"
    if free_mb < least_free_mb:
        return Verdict(Answer.YES, f"{now}; {least_free_mb:g} MB is the limit", facts)
    return Verdict(Answer.HOLD if free_mb < 1.5 * least_free_mb else Answer.NO, now, facts)


def broker_verdict(gone_s: float | None, *, where: str) -> Verdict:
    """Whether the broker is out of reach.

    Parameters
    ----------
    gone_s : float or None [s]
        For how long; 0 where it is in reach, None where nobody can tell.
    where : str

    Returns
    -------
    Verdict
    """
    if gone_s is None:
        return Verdict(Answer.BLIND, "whether the broker is in reach cannot be told")
    facts: Facts = {
        "gone_s": round(gone_s),
        "do": "See that the broker runs and the network is up. No reading can arrive; probes keep theirs.",
        "source": NO_SOURCE,
    }
    if gone_s > 0:
        return Verdict(
            Answer.YES, f"the broker at {where} has been out of reach for {span_words(gone_s)}", facts
        )
    return Verdict(Answer.NO, f"the broker at {where} is in reach", facts)


def slow_verdict(commit_s: float | None, *, slow_s: float) -> Verdict:
    """Whether storing readings takes too long.

    Parameters
    ----------
    commit_s : float or None [s]
        The longest of the last few; None: nothing was stored lately.
    slow_s : float [s]
        Slow above this; no longer slow below half of it.

    Returns
    -------
    Verdict
    """
    if commit_s is None:
        return Verdict(Answer.BLIND, "nothing was stored lately")
    facts: Facts = {
        "commit_s": round(commit_s, 2),
        "slow_s": slow_s,
        "do": "See what else writes to this disk, and whether it is failing or full.",
        "source": NO_SOURCE,
    }
    now = f"storing a batch took {commit_s:.1f} s"
    if commit_s > slow_s:
        return Verdict(Answer.YES, f"{now}; {slow_s:g} s is the limit", facts)
    return Verdict(Answer.HOLD if commit_s > slow_s / 2 else Answer.NO, now, facts)


def parked_verdict(parked: int, first: str) -> Verdict:
    """Whether notices were given up.

    Parameters
    ----------
    parked : int
    first : str
        The oldest of them and why, in words.

    Returns
    -------
    Verdict

    Example
    -------
    >>> parked_verdict(0, "").answer.value
    'no'
    """
    if not parked:
        return Verdict(Answer.NO, "no notice was given up", at_once=True)
    facts: Facts = {
        "parked": parked,
        "do": "Put the channel right, then: traywarden notices retry ID.",
        "source": "notices.most_attempts",
    }
    return Verdict(Answer.YES, f"{parked} given up; the oldest, {first}", facts)
