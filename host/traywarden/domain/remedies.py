"""Which entry of the journal answers which rule: what a grower does about it."""

from traywarden.domain.journal import Kind

REMEDIES: dict[str, tuple[Kind, ...]] = {
    "dry": (Kind.WATERED,),
    "cold": (Kind.MOVED, Kind.VENTED, Kind.EMERGED, Kind.POTTED_UP),
    "hot": (Kind.MOVED, Kind.VENTED, Kind.WATERED),
    "drying": (Kind.WATERED,),
    "waterlogged": (Kind.MOVED, Kind.ON_BASE, Kind.POTTED_UP),
    "frost": (Kind.MOVED,),
    "rain": (Kind.MOVED,),
    "vent": (Kind.VENTED, Kind.MOVED),
    "late": (Kind.EMERGED, Kind.SOWED, Kind.NOTED),
}
BY_HAND = (
    Kind.WATERED,
    Kind.MOVED,
    Kind.VENTED,
    Kind.EMERGED,
    Kind.POTTED_UP,
    Kind.PLANTED_OUT,
    Kind.SOWED,
    Kind.FILLED,
    Kind.HEAD_PLACED,
    Kind.HEAD_TAKEN_OUT,
)


ONE_TAP: dict[str, Kind] = {"dry": Kind.WATERED, "drying": Kind.WATERED, "vent": Kind.VENTED}
"""Rules whose deed needs no more words than that it was done."""


def remedies(rule: str) -> tuple[Kind, ...]:
    """The kinds of entries after which a grower need not be told again; of a rule not listed, any deed."""
    return REMEDIES.get(rule, BY_HAND)


def next_reminder_ms(told: int, last_told_ms: int, *, first_s: float, longest_s: float) -> int:
    """When to remind of an episode that still holds.

    Parameters
    ----------
    told : int
        Times it was told so far, at least 1.
    last_told_ms : int
        When it was told last [ms since 1970].
    first_s, longest_s : float
        Gap before the first reminder and longest gap [s]; the gap doubles in between.

    Returns
    -------
    int [ms since 1970]

    Example
    -------
    >>> [next_reminder_ms(n, 0, first_s=6, longest_s=20) // 1000 for n in (1, 2, 3)]
    [6, 12, 20]
    """
    return last_told_ms + round(min(first_s * 2.0 ** min(told - 1, 40), longest_s) * 1000)
