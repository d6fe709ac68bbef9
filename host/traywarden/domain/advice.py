"""What helps: advice that fits where the tray stands."""

from traywarden.domain.garden import PlaceKind

PATIENCE = "or patience: the seed is not lost, it will only come up later"
_COLD = {
    PlaceKind.COLD_FRAME: "Close the frame at night and lay a mat over it, or take the tray somewhere warmer",
    PlaceKind.GREENHOUSE: "Fleece over the tray at night, or the bench that gets the most sun, helps",
    PlaceKind.DAPPLED_SHADE: "A sunnier place, a cover or a cold frame helps",
}
_COLD_ELSEWHERE = "A cold frame, a cover or a sunnier place helps"


def what_helps_cold(kind: PlaceKind | None) -> str:
    """What to do for a tray that is too cold for its seed.

    Parameters
    ----------
    kind : PlaceKind or None
        Of the place it stands in; None where that is not known.

    Returns
    -------
    str
        One sentence.

    Notes
    -----
    It never sends a tray into the kind of place where it stands already.

    Example
    -------
    >>> what_helps_cold(PlaceKind.OPEN_BENCH)[:44]
    'A cold frame, a cover or a sunnier place hel'
    """
    helps = _COLD_ELSEWHERE if kind is None else _COLD.get(kind, _COLD_ELSEWHERE)
    return f"{helps}; {PATIENCE}."
