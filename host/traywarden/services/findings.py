"""What a logger file holds that cannot be taken as it stands: counted by kind, listed by line."""

import csv
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol, TextIO


class Kind(StrEnum):
    """A kind of finding, named after the fault; `outcome` says what was done with it."""

    UNEVEN_ROW = "row with a wrong number of cells"
    UNREADABLE_TIME = "stamp that cannot be read"
    HOLE = "stamp in the hour the clocks skipped"
    FOLD = "stamp in the hour that occurs twice"
    BACKWARD = "clock that went back"
    DUPLICATE_SAME = "duplicate stamp, same values"
    DUPLICATE_OTHER = "duplicate stamp, other values"
    UNREADABLE_CELL = "cell that cannot be read"
    OUT_OF_LIMITS = "value no sensor can give"

    @property
    def outcome(self) -> str:
        return _OUTCOMES[self]


_OUTCOMES = {
    Kind.UNEVEN_ROW: "row left out",
    Kind.UNREADABLE_TIME: "row left out",
    Kind.HOLE: "row left out; a logger that keeps standard time all year needs an offset, not a zone",
    Kind.FOLD: "kept",
    Kind.BACKWARD: "kept",
    Kind.DUPLICATE_SAME: "first kept",
    Kind.DUPLICATE_OTHER: "first kept",
    Kind.UNREADABLE_CELL: "cell left out",
    Kind.OUT_OF_LIMITS: "cell left out",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding. `text` is what stands in the file, `outcome` what was done."""

    line: int
    kind: str
    column: str
    text: str
    outcome: str


class Sink(Protocol):
    def __call__(self, finding: Finding, /) -> None: ...


def report_to(file: TextIO) -> Sink:
    """A sink that writes every finding as a CSV row."""
    writer = csv.writer(file)
    writer.writerow(("line", "kind", "column", "text", "outcome"))

    def sink(finding: Finding, /) -> None:
        writer.writerow((finding.line, finding.kind, finding.column, finding.text, finding.outcome))

    return sink


class Findings:
    """Counts every finding; keeps the first `show` of each kind, and hands all of them to `sink`."""

    def __init__(self, show: int = 5, sink: Sink | None = None) -> None:
        self._show, self._sink = show, sink
        self._counts: Counter[Kind] = Counter()
        self._listed: dict[Kind, list[Finding]] = {}

    def add(
        self, kind: Kind, lines: Iterable[int], texts: Iterable[str], column: str = "", outcome: str = ""
    ) -> None:
        """Note findings of one kind: their lines and what stands there."""
        listed = self._listed.setdefault(kind, [])
        for line, text in zip(lines, texts, strict=True):
            self._counts[kind] += 1
            if self._sink is None and len(listed) >= self._show:
                continue
            finding = Finding(int(line), kind.value, column, text[:80], outcome or kind.outcome)
            if len(listed) < self._show:
                listed.append(finding)
            if self._sink is not None:
                self._sink(finding)

    @property
    def counts(self) -> dict[str, int]:
        return {kind.value: self._counts[kind] for kind in Kind if self._counts[kind]}

    @property
    def listed(self) -> list[Finding]:
        return [finding for kind in Kind for finding in self._listed.get(kind, ())]
