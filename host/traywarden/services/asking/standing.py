"""Every rule that is asked every so often: its row, and who asks it."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from traywarden.domain.rules import PacedRule
from traywarden.domain.subjects import SubjectKind
from traywarden.services.asking import host, places, probes, trays
from traywarden.services.asking.round import Ask
from traywarden.settings import Settings

TRAY, PLACE, PROBE, HOST = SubjectKind.TRAY, SubjectKind.PLACE, SubjectKind.PROBE, SubjectKind.HOST
MINUTE_S, HOUR_S = 60.0, 3600.0


@dataclass(frozen=True, slots=True)
class Asked:
    """A rule and the function that answers it for every subject at once."""

    rule: PacedRule
    ask: Ask
    replayable: bool = True
    """Whether history holds all it looks at; what the host or the broker did then is kept nowhere."""


def no_more_often(asked: Iterable[Asked], least_pace_s: float) -> tuple[Asked, ...]:
    """The same rules, none asked more often than that."""
    return tuple(
        replace(each, rule=replace(each.rule, pace_s=max(each.rule.pace_s, least_pace_s))) for each in asked
    )


Row = tuple[str, str, str, float, SubjectKind, Ask, bool, bool]
ROWS: tuple[Row, ...] = (
    # name, severity, question, pace, asked of, who asks, whether told once alone, whether replayable
    (
        "drying",
        "info",
        "Will this tray be dry before you are next likely at the bench?",
        30 * MINUTE_S,
        TRAY,
        trays.drying,
        True,
        True,
    ),
    (
        "late",
        "info",
        "Is this seed late?",
        HOUR_S,
        TRAY,
        trays.late,
        False,
        True,
    ),
    (
        "tilted",
        "info",
        "Does this tray stand out of level?",
        6 * HOUR_S,
        TRAY,
        trays.tilted,
        False,
        True,
    ),
    (
        "frost",
        "urgent",
        "May the coming night harm what stands here?",
        30 * MINUTE_S,
        PLACE,
        places.frost,
        True,
        True,
    ),
    (
        "vent",
        "urgent",
        "Is it too hot under this cover?",
        5 * MINUTE_S,
        PLACE,
        places.vent,
        False,
        True,
    ),
    (
        "shut",
        "urgent",
        "Does this frame stand open in the cold?",
        15 * MINUTE_S,
        PLACE,
        places.shut,
        False,
        True,
    ),
    (
        "rain",
        "warning",
        "Is rain heavy on open trays here?",
        HOUR_S,
        PLACE,
        places.rain,
        True,
        True,
    ),
    (
        "quiet",
        "warning",
        "Has this probe gone quiet?",
        5 * MINUTE_S,
        PROBE,
        probes.quiet,
        False,
        True,
    ),
    (
        "battery",
        "warning",
        "Is its battery nearly empty?",
        HOUR_S,
        PROBE,
        probes.battery,
        False,
        True,
    ),
    (
        "faulty",
        "warning",
        "Is a head of it faulty?",
        30 * MINUTE_S,
        PROBE,
        probes.faulty,
        False,
        True,
    ),
    (
        "pulled",
        "warning",
        "Is a head of it out of its mix?",
        15 * MINUTE_S,
        PROBE,
        probes.pulled,
        False,
        True,
    ),
    (
        "clock",
        "info",
        "Is its clock wrong?",
        HOUR_S,
        PROBE,
        probes.clock,
        False,
        True,
    ),
    (
        "disk",
        "urgent",
        "Does the disk fill up?",
        5 * MINUTE_S,
        HOST,
        host.disk,
        False,
        False,
    ),
    (
        "broker",
        "urgent",
        "Is the broker out of reach?",
        MINUTE_S,
        HOST,
        host.broker,
        False,
        False,
    ),
    (
        "slow",
        "warning",
        "Does storing take too long?",
        MINUTE_S,
        HOST,
        host.slow,
        False,
        False,
    ),
    (
        "parked",
        "warning",
        "Were notices given up?",
        5 * MINUTE_S,
        HOST,
        host.parked,
        False,
        False,
    ),
)


def paced_rules(settings: Settings) -> tuple[Asked, ...]:
    """Every rule that is asked every so often, with its delays from the settings."""
    return tuple(
        Asked(
            PacedRule(
                name,
                severity,
                question,
                settings[f"{name}.open_delay_s"],
                settings[f"{name}.close_delay_s"],
                pace_s,
                of,
                told_once,
            ),
            ask,
            replayable,
        )
        for name, severity, question, pace_s, of, ask, told_once, replayable in ROWS
    )
