"""Which entry of the journal answers which rule: what a grower does about it."""

from traywarden.domain.episodes import Episode
from traywarden.domain.journal import Kind

REMEDIES: dict[str, tuple[Kind, ...]] = {
    "dry": (Kind.WATERED,),
    "cold": (Kind.MOVED, Kind.EMERGED, Kind.POTTED_UP),
    "hot": (Kind.MOVED, Kind.VENTED, Kind.EMERGED, Kind.POTTED_UP),
    "drying": (Kind.WATERED,),
    "waterlogged": (Kind.MOVED, Kind.ON_BASE, Kind.POTTED_UP),
    "frost": (Kind.MOVED,),
    "rain": (Kind.MOVED,),
    "vent": (Kind.VENTED, Kind.MOVED),
    "shut": (Kind.CLOSED,),
    "late": (Kind.EMERGED, Kind.SOWED, Kind.NOTED),
    "tilted": (Kind.LEVELLED, Kind.MOVED, Kind.ON_BASE, Kind.FILLED),
}
ENDS_THE_ASKING: dict[str, tuple[Kind, ...]] = dict.fromkeys(("cold", "hot"), (Kind.EMERGED, Kind.POTTED_UP))
"""After these it is not asked any more, whenever the last warm or cool hour was: whoever wrote it knows."""
HOUR_S = 3600.0
SHOWS_WITHIN_S: dict[str, float] = {
    "dry": 2 * HOUR_S,
    "cold": 24 * HOUR_S,
    "hot": 24 * HOUR_S,
    "waterlogged": 24 * HOUR_S,
    "vent": HOUR_S,
    "shut": HOUR_S,
    "late": 48 * HOUR_S,
}
"""How long after the deed the need should be over: water from below takes an hour or two to rise, a tray that
was moved has its next night or noon, one that was lifted drains in a day (common practice, no source). Of a
rule not listed nobody can tell."""
WRITTEN_LATE_MS = 3_600_000
"""A deed is often written down after its effect has been measured."""
DEED_WORDS = {
    Kind.WATERED: "watered it",
    Kind.MOVED: "moved it",
    Kind.VENTED: "opened it",
    Kind.CLOSED: "closed it",
    Kind.POTTED_UP: "potted it up",
    Kind.PLANTED_OUT: "planted it out",
    Kind.SOWED: "sowed it anew",
    Kind.ON_BASE: "set it on another base",
    Kind.LEVELLED: "put it level",
    Kind.FILLED: "filled it anew",
    Kind.HEAD_PLACED: "placed a head in it",
    Kind.HEAD_TAKEN_OUT: "took a head out of it",
}
"""What was done, after “You”. A note says nothing of what was done."""
CARRIED_OUT = "carried out what stood there"
"""What moving trays is to the place they were carried out of."""
BY_HAND = (
    Kind.WATERED,
    Kind.MOVED,
    Kind.VENTED,
    Kind.CLOSED,
    Kind.LEVELLED,
    Kind.EMERGED,
    Kind.POTTED_UP,
    Kind.PLANTED_OUT,
    Kind.SOWED,
    Kind.FILLED,
    Kind.HEAD_PLACED,
    Kind.HEAD_TAKEN_OUT,
)


def remedies_of(episode: Episode) -> tuple[Kind, ...]:
    """The kinds of entries after which a grower need not be told again; of a rule not listed, any deed.

    Watering answers heat only where the advice says to water: else it is done every day anyway.
    """
    kinds = REMEDIES.get(episode.rule, BY_HAND)
    waters = episode.rule == "hot" and "water it" in str(episode.facts.get("do", ""))
    return (*kinds, Kind.WATERED) if waters else kinds


def answers_end(rule: str, deed_ms: int, closed_ms: int) -> bool:
    """Whether a need that was over by `closed_ms` was over by that deed, so that whoever did it knows.

    Only of rules with deeds of their own that show: nobody sees at once that a tray stands level.

    >>> answers_end("dry", 0, 3_600_000), answers_end("dry", 0, 9_000_000), answers_end("rain", 0, 0)
    (True, False, False)
    """
    return rule in SHOWS_WITHIN_S and -WRITTEN_LATE_MS <= closed_ms - deed_ms <= SHOWS_WITHIN_S[rule] * 1000


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
