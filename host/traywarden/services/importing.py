"""Logger files into the store: streamed, committed in batches, safe to kill and to run again."""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from traywarden.domain.readings import BOOT_IMPORTED
from traywarden.services.feeds import Tally, head_chunks
from traywarden.services.findings import Finding, Findings
from traywarden.services.mapping import Mapping
from traywarden.store import readings as reading_store
from traywarden.store.store import Store

Progress = Callable[[Tally], None]


@dataclass(frozen=True, slots=True)
class ImportResult:
    """What an import did. A row of the file can give readings of several heads.

    `first_ms` and `last_ms` are the readings'; `counts` are findings by kind, `listed` a few of each kind;
    `notes` say what a guessed mapping assumed.
    """

    file: str
    logger: str
    rows: int
    rows_elsewhere: int
    rows_blank: int
    cells_missing: int
    readings: int
    readings_new: int
    first_ms: int | None
    last_ms: int | None
    counts: dict[str, int]
    listed: list[Finding] = field(default_factory=list)
    notes: tuple[str, ...] = ()

    @property
    def readings_known(self) -> int:
        """Readings that were stored already."""
        return self.readings - self.readings_new


def import_file(
    store: Store,
    path: Path,
    mapping: Mapping,
    logger: str,
    *,
    received_ms: int,
    batch_rows: int = 5000,
    findings: Findings | None = None,
    progress: Progress | None = None,
) -> ImportResult:
    """Read a file into the store as readings of a probe called `logger`, known by their time.

    What is stored already stays as it is; a row that is new is added. Each batch is committed on its own,
    so a killed import loses at most one batch and can be run again.

    Raises ImportFileError (the file), UsageError (the mapping does not fit it), StoreError.
    """
    findings = Findings() if findings is None else findings
    tally = Tally()
    made = new = 0
    first_ms: int | None = None
    last_ms: int | None = None
    with closing(head_chunks(path, mapping, findings, tally)) as chunks:
        for chunk in chunks:
            for start in range(0, len(chunk.time_ms), batch_rows):
                cut = slice(start, start + batch_rows)
                values = {name: array[cut] for name, array in chunk.values.items()}
                with store.write() as tx:
                    new += reading_store.insert_columns(
                        tx, logger, chunk.head, BOOT_IMPORTED, chunk.time_ms[cut], received_ms, values
                    )
            made += len(chunk.time_ms)
            low, high = int(chunk.time_ms.min()), int(chunk.time_ms.max())
            first_ms = low if first_ms is None else min(first_ms, low)
            last_ms = high if last_ms is None else max(last_ms, high)
            if progress is not None:
                progress(tally)
    return ImportResult(
        str(path),
        logger,
        tally.rows,
        tally.rows_elsewhere,
        tally.rows_blank,
        tally.cells_missing,
        made,
        new,
        first_ms,
        last_ms,
        findings.counts,
        findings.listed,
        mapping.notes,
    )
