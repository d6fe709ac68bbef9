"""The stage of what stands in a tray, by the journal: sown, emerging, seedling, potted up, planted out."""

from enum import StrEnum

DAY_MS = 86_400_000
EMERGING_D = 5
"""From the first seedling on a sowing counts as emerging for so long, then as seedlings (common practice, no
source: most of a fresh lot comes up within a few days of its first)."""


class Stage(StrEnum):
    EMPTY = "empty"
    SOWN = "sown"
    EMERGING = "emerging"
    SEEDLING = "seedling"
    POTTED_UP = "potted_up"
    PLANTED_OUT = "planted_out"

    @property
    def words(self) -> str:
        return self.value.replace("_", " ")


def stage_at(
    at_ms: int,
    sown_ms: int | None,
    emerged_ms: int | None = None,
    potted_ms: int | None = None,
    *,
    planted_out: bool = False,
) -> Stage:
    """The stage at an instant.

    Parameters
    ----------
    at_ms : int [ms since 1970]
    sown_ms, emerged_ms, potted_ms : int or None [ms since 1970]
        When the sowing that stands there was made, first seen up, and potted up; None: not written down.
    planted_out : bool
        What stood there was planted out and nothing was sown since.

    Returns
    -------
    Stage

    Examples
    --------
    >>> stage_at(10, None).value, stage_at(10, 0).value, stage_at(10, 0, 5).value
    ('empty', 'sown', 'emerging')
    >>> stage_at(5 + EMERGING_D * DAY_MS, 0, 5).value
    'seedling'
    """
    if planted_out:
        return Stage.PLANTED_OUT
    if sown_ms is None:
        return Stage.EMPTY
    if potted_ms is not None and potted_ms <= at_ms:
        return Stage.POTTED_UP
    if emerged_ms is None or emerged_ms > at_ms:
        return Stage.SOWN
    return Stage.EMERGING if at_ms - emerged_ms < EMERGING_D * DAY_MS else Stage.SEEDLING
