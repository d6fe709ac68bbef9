"""The few figures of a batch that a grower reads, from its card: times in days since sowing."""

from collections.abc import Callable, Sequence

from traywarden.domain.germination_metrics import GerminationMetrics
from traywarden.services.questions.batch import BatchCard

Figures = tuple[str, tuple[float | None, ...]]


def figure_rows(cards: Sequence[BatchCard]) -> list[Figures]:
    """Name and days of each figure, a column for every batch; None where its counts do not bear it.

    Figures that no batch has are left out.
    """
    found: list[Figures] = [
        ("half of those up", tuple(card.half_d for card in cards)),
        ("half of those sown", tuple(_clear(card, lambda m: m.t50_of_sown_d) for card in cards)),
        ("mean", tuple(_clear(card, lambda m: m.mean_d) for card in cards)),
        ("standard deviation", tuple(_clear(card, _deviation_d) for card in cards)),
        ("from 10 to 90 % of those up", tuple(card.spread_d for card in cards)),
    ]
    return [(name, days) for name, days in found if any(each is not None for each in days)]


def _clear(card: BatchCard, figure: Callable[[GerminationMetrics], float | None]) -> float | None:
    """A published figure, where the counts lie near enough to each other for it to say something."""
    known = card.metrics is not None and card.half_d is not None and card.spread_d is not None
    return figure(card.metrics) if known and card.metrics is not None else None


def _deviation_d(metrics: GerminationMetrics) -> float | None:
    return None if metrics.variance_d2 is None else metrics.variance_d2**0.5
