"""What only a running host can see of itself: what it saw when it looked last, and how to know more."""

from dataclasses import replace

from traywarden.domain.clock_words import clock
from traywarden.domain.episodes import NEVER_MS, RuleState
from traywarden.domain.rules import Answer, PacedRule
from traywarden.services.questions.ground import Ground
from traywarden.services.running import running_host

PACES_LATELY = 3
KEPT_WITHIN_S = 60.0
"""A running host keeps what its rules say every half minute, later where much comes in (no source)."""
SEEN = {Answer.YES: "it said “yes”", Answer.NO: "it said “no”", Answer.HOLD: "it was between its levels",
        Answer.BLIND: "it could not tell"}  # fmt: skip


def as_last_looked(ground: Ground, rule: PacedRule, kept: RuleState) -> RuleState:
    """The state of a rule of the host as a question can know it: as the running host kept it, if that is new
    enough to hold now; else blind, with what it was by then and what to do."""
    if kept.judged_to_ms == NEVER_MS:
        return replace(kept, reason=f"only a running host can tell, and none has looked yet{_to_do(ground)}")
    at = clock(ground.at(kept.judged_to_ms), ground.at(ground.now_ms))
    lately_s = PACES_LATELY * rule.pace_s + KEPT_WITHIN_S
    if 0 <= ground.now_ms - kept.judged_to_ms <= lately_s * 1000:
        return replace(kept, reason=f"{kept.reason}, as the running host saw it at {at}")
    return replace(
        kept,
        answer=Answer.BLIND,
        reason=(
            f"only a running host can tell; when one looked last, at {at}, {SEEN[kept.answer]}: "
            f"{kept.reason}{_to_do(ground)}"
        ),
    )


def _to_do(ground: Ground) -> str:
    home = ground.settings.home
    if home is not None and running_host(home) is not None:
        return "; one runs, and will have looked in a few minutes: ask again then, or see what it prints"
    return "; none runs here now (start it: traywarden run)"
