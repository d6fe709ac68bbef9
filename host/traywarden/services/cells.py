"""Text cells as numbers: decimal marks, thousands and sentinels, fast where the column is clean."""

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CellReader:
    """Reads cells written with one decimal mark, maybe a thousands mark, and texts that mean “missing”."""

    decimal: str = "."
    thousands: str = ""
    missing: tuple[str, ...] = ("",)
    _texts: frozenset[str] = field(init=False)
    _numbers: tuple[float, ...] = field(init=False)
    _grouped: re.Pattern[str] = field(init=False)

    def __post_init__(self) -> None:
        texts = frozenset(text.strip() for text in self.missing)
        object.__setattr__(self, "_texts", texts)
        object.__setattr__(self, "_numbers", tuple(_finite(texts)))
        mark, group = re.escape(self.decimal), re.escape(self.thousands)
        object.__setattr__(self, "_grouped", re.compile(rf"[+-]?\d{{1,3}}({group}\d{{3}})+({mark}\d*)?"))

    def read(self, cells: Sequence[str]) -> tuple[FloatArray, list[int]]:
        """Numbers (NaN = missing or unreadable), and the rows that are unreadable.

        A sentinel that is a number is met whatever its digits: “-6999” also means “-6999.00”.
        """
        values = self._clean(cells)
        bad: list[int] = []
        if values is None:
            read = [self._number(cell) for cell in cells]
            bad = [row for row, value in enumerate(read) if value is None]
            values = np.array([math.nan if value is None else value for value in read], dtype=np.float64)
        for sentinel in self._numbers:
            values[values == sentinel] = math.nan
        return values, bad

    def _clean(self, cells: Sequence[str]) -> FloatArray | None:
        """All cells at once; None when any of them needs a closer look."""
        if self.thousands:
            return None
        joined = "\n".join(cells)
        if "_" in joined:
            return None  # float() would read 1_0 as ten
        if self.decimal != ".":
            if "." in joined:
                return None
            cells = joined.replace(self.decimal, ".").split("\n")
        try:
            values = np.array(list(map(float, cells)), dtype=np.float64)
        except ValueError:
            return None
        return values if len(values) and bool(np.isfinite(values).all()) else None

    def _number(self, cell: str) -> float | None:
        """One cell: NaN when missing, None when unreadable."""
        text = cell.strip()
        if text in self._texts:
            return math.nan
        if self.thousands and self.thousands in text:
            if self._grouped.fullmatch(text) is None:
                return None
            text = text.replace(self.thousands, "")
        if self.decimal != ".":
            if "." in text:
                return None
            text = text.replace(self.decimal, ".")
        return next(_finite((text,)), None)


def _finite(texts: Iterable[str]) -> Iterator[float]:
    for text in texts:
        try:
            value = float(text) if "_" not in text else math.nan
        except ValueError:
            continue
        if math.isfinite(value):
            yield value
