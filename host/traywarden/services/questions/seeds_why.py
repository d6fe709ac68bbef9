"""What an answer about seeds rests on, in sentences."""

from traywarden.domain.emergence_forecast import Middle
from traywarden.services.questions.seeds import SeedsAnswer


def why_words(answer: SeedsAnswer) -> list[str]:
    """Packet, tests, age and trays, each with its source, and what they make together."""
    seed, place, up = answer.germination, answer.place_share, answer.comes_up
    said = []
    for told in answer.evidence:
        when = f" ({told.at:%Y-%m-%d})" if told.at else ""
        said.append(f"{told.says}{when}" + (f": {told.source}." if told.source else "."))
    trays = sum(p.trays for p in answer.places)
    by = f", by {trays} tray{'' if trays == 1 else 's'} of other seed" if trays else ""
    said.append(f"All that together: {share_words(seed)} of the seeds can sprout.")
    said.append(f"Of those that can, {share_words(place)} come up in {answer.place}{by}.")
    if answer.warmth_share is not None:
        said.append(f"At that temperature {answer.warmth_share * 100:.0f} of 100 of those at the best one.")
    said.append(f"So that {share_words(up)} of the seeds sown come up.")
    if answer.filled_trays:
        said.append(
            f"Seeds of one cell share its luck by {answer.clustering:.2f} (0: not at all, 1: wholly), "
            f"by {answer.filled_trays} tray{'' if answer.filled_trays == 1 else 's'} "
            "whose filled cells were counted."
        )
    return said


def share_words(part: Middle) -> str:
    """“80 of 100 (67–89)”."""
    return f"{part.mean_share * 100:.0f} of 100 ({part.low_share * 100:.0f}–{part.high_share * 100:.0f})"
