"""Groups of batches in words: how two differ, and when half of a batch was up."""

from traywarden.domain.batch_comparison import ALPHA
from traywarden.domain.batch_words import chance_words
from traywarden.domain.group_difference import GroupDifference
from traywarden.services.questions.batches import BatchesAnswer, BatchRow, GroupPair


def group_sentences(answer: BatchesAnswer) -> list[str]:
    """A sentence on every pair of groups; where groups were asked for and there is no pair, that."""
    if answer.by and not answer.pairs:
        return [f"There are not two groups by {answer.by} yet to hold against each other."]
    return [_sentence(pair) for pair in answer.pairs]


def half_words(row: BatchRow) -> str:
    """The day on which half was up, or the visits between which it was."""
    if row.half_d is not None:
        return f"{row.half_d:.1f}"
    if row.half_from_d is None or row.half_to_d is None:
        return "–"
    return f"{row.half_from_d:.0f}–{row.half_to_d:.0f}" if row.half_from_d else f"<{row.half_to_d:.1f}"


def _sentence(pair: GroupPair) -> str:
    parts = [
        _part(pair.pct, "of 100 seeds more", "of 100 seeds fewer", 0),
        _part(pair.half_d, "days later", "days sooner", 1),
    ]
    told = "; ".join(part for part in parts if part)
    return f"{pair.a} against {pair.b}: {told or 'nothing to compare'}."


def _part(found: GroupDifference | None, more: str, less: str, digits: int) -> str:
    if found is None:
        return ""
    size = f"{abs(found.estimate):.{digits}f} {more if found.estimate >= 0 else less}"
    trays = f"{found.a_trays} against {found.b_trays} tray{'' if found.b_trays == 1 else 's'}"
    if found.low is None or found.high is None or found.p_value is None:
        return f"{size} ({trays}: {found.reason})"
    sign = 1 if found.estimate >= 0 else -1
    low, high = sorted((sign * found.low, sign * found.high))
    ends = f"{low:.{digits}f} to {high:.{digits}f}".replace("-", "−")
    verdict = "unlikely to be chance" if found.p_value < ALPHA else "which may be chance"
    return f"{size} ({ends}; {trays}), {verdict} ({chance_words(found.p_value)})"
