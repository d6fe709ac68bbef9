"""How one batch or two came up as a picture: the packaged chart, filled with the counts of one answer."""

from typing import Any

from traywarden.links.pictures import chart
from traywarden.services.questions.batch import BatchAnswer, BatchCard

COUNT_COLUMNS = ("batch", "counted", "days since sowing", "newly up", "up", "% of the seeds sown")


def batch_picture(answer: BatchAnswer) -> dict[str, Any]:
    """A Vega-Lite spec of what was up at each count, in % of the seeds sown where every batch knows them."""
    cards = _cards(answer)
    shares = all(card.share is not None for card in cards)
    spec = chart("batch")
    spec["datasets"]["counts"] = [row for card in cards for row in _points(card, shares=shares)]
    spec["encoding"]["y"]["title"] = "% of the seeds sown" if shares else "seedlings up"
    spec["title"]["text"] = " and ".join(card.name for card in cards) + ": up so far, by day"
    crops = dict.fromkeys(card.crop for card in cards)
    spec["title"]["subtitle"] = f"{answer.garden}, {' and '.join(crops)}; points are counts"
    if len(cards) == 1:
        spec["encoding"]["color"]["legend"] = None
        for layer, channel in zip(spec["layer"], ("strokeDash", "shape"), strict=True):
            del layer["encoding"][channel]
    return spec


def count_rows(answer: BatchAnswer) -> list[tuple[Any, ...]]:
    """The numbers behind the picture, by COUNT_COLUMNS."""
    return [
        (card.name, row.at, row.day, row.newly_up, row.up, row.up_pct)
        for card in _cards(answer)
        for row in card.counts
    ]


def _cards(answer: BatchAnswer) -> list[BatchCard]:
    return [card for card in (answer.first, answer.second) if card is not None]


def _points(card: BatchCard, *, shares: bool) -> list[dict[str, Any]]:
    """Nothing was up on the day of sowing; then each count."""
    points: list[dict[str, Any]] = [{"batch": card.name, "day": 0.0, "up": 0, "counted": False}]
    for row in card.counts:
        points.append(
            {
                "batch": card.name,
                "day": row.day,
                "up": row.up_pct if shares else row.up,
                "counted": True,
                "at": f"{row.at:%d %b %H:%M}",
                "new": row.newly_up,
                "all": row.up,
                "share": row.up_pct,
            }
        )
    return points
