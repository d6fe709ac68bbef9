"""One measured figure, and how it is printed."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Figure:
    """What was measured (`ours`), against what (`baseline`), and the least or most that is asked for.

    `least`/`most` bound `ours`; `least_ratio` bounds ours / baseline. All are optional.
    """

    name: str
    ours: float
    unit: str
    baseline: float | None = None
    baseline_says: str = ""
    least: float | None = None
    most: float | None = None
    least_ratio: float | None = None

    @property
    def ratio(self) -> float | None:
        return self.ours / self.baseline if self.baseline else None

    @property
    def reached(self) -> bool:
        ratio = self.ratio
        return (
            (self.least is None or self.ours >= self.least)
            and (self.most is None or self.ours <= self.most)
            and (self.least_ratio is None or ratio is None or ratio >= self.least_ratio)
        )

    def __str__(self) -> str:
        words = [f"{self.name}: {self.ours:,.4g} {self.unit}" if self.ours < 1000 else _whole(self)]
        if self.baseline is not None and self.ratio is not None:
            words.append(f"against {self.baseline:,.0f} {self.baseline_says}: ratio {self.ratio:.2f}")
        asked = [
            f"{says} {bound:,g}"
            for says, bound in (
                ("at least", self.least),
                ("at most", self.most),
                ("ratio at least", self.least_ratio),
            )
            if bound is not None
        ]
        if asked:
            words.append(f"({', '.join(asked)}: {'reached' if self.reached else 'MISSED'})")
        return " ".join(words)


def _whole(figure: Figure) -> str:
    return f"{figure.name}: {figure.ours:,.0f} {figure.unit}"
