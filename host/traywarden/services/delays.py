"""How long what a rule answers must stand before it opens or closes, for what stands there by then."""

from collections.abc import Iterator

from traywarden.domain.episodes import Delays
from traywarden.domain.evidence import level_of, stage_of
from traywarden.domain.levels import Levels, Of
from traywarden.domain.rules import AnyRule
from traywarden.domain.stage import Stage
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.services.knowledge import Knowledge

OPEN, CLOSE = "open_delay_s", "close_delay_s"
GONE = (Stage.EMPTY, Stage.PLANTED_OUT)


def delays_of(
    rule: AnyRule, levels: Levels, knowledge: Knowledge, subject: Subject, longest_gap_ms: int
) -> Delays:
    """The rule's delays, with those given for a crop, a mix or a stage.

    A place goes by what stands in it: the shortest opening delay and the longest closing delay of its trays.
    """
    plain = Delays(_ms(rule.open_delay_s), _ms(rule.close_delay_s), longest_gap_ms)
    opens, closes = (levels.given(name) if levels.overrides else [] for name in (OPEN, CLOSE))
    if not opens and not closes:
        return plain

    def one(name: str, of: Of, otherwise_ms: int) -> int:
        key = levels.key(name, of)
        return _ms(levels.overrides[key]) if key in levels.overrides else otherwise_ms

    def given(at_ms: int) -> tuple[int, int]:
        ofs = list(standing(knowledge, subject, at_ms))
        return (
            min((one(OPEN, of, plain.open_ms) for of in ofs), default=plain.open_ms),
            max((one(CLOSE, of, plain.close_ms) for of in ofs), default=plain.close_ms),
        )

    return Delays(
        max([plain.open_ms, *map(_ms, opens)]),
        max([plain.close_ms, *map(_ms, closes)]),
        longest_gap_ms,
        given,
    )


def opening_key(rule: str, levels: Levels, knowledge: Knowledge, subject: Subject, at_ms: int) -> str:
    """The key of the setting by which the rule waited before it opened there: of a place, the shortest."""
    keys = [levels.key(OPEN, of) for of in standing(knowledge, subject, at_ms)]
    given = [key for key in keys if key in levels.overrides]
    plain = f"{rule}.{OPEN}"
    if not given or (plain in keys and levels.plain[plain] <= min(map(levels.overrides.__getitem__, given))):
        return plain
    return min(given, key=lambda key: (levels.overrides[key], key))


def standing(knowledge: Knowledge, subject: Subject, at_ms: int) -> Iterator[Of]:
    """Crop, mix and stage of a tray, or of every tray with something in it that stood in a place."""
    if subject.kind is SubjectKind.TRAY:
        yield _of(knowledge, subject.number, at_ms)
    elif subject.kind is SubjectKind.PLACE:
        yield from (of for _, of in trays_in(knowledge, subject.number, at_ms))


def trays_in(knowledge: Knowledge, place_id: int, at_ms: int) -> Iterator[tuple[int, Of]]:
    """Every tray with something in it that stood in a place, and what stood in it."""
    for tray_id in knowledge.trays:
        place, of = knowledge.place_of(tray_id, at_ms), _of(knowledge, tray_id, at_ms)
        if place is not None and place.place_id == place_id and of.stage not in GONE:
            yield tray_id, of


def _of(knowledge: Knowledge, tray_id: int, at_ms: int) -> Of:
    mix, sown, planted_out = knowledge.of(tray_id).at(at_ms)
    return level_of(mix, sown, stage_of(at_ms, sown, planted_out=planted_out))


def _ms(seconds: float) -> int:
    return round(seconds * 1000)
