"""`traywarden moisture`: how wet each tray is in terms that mean something, and what its heads show."""

from collections.abc import Sequence

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.units import Display
from traywarden.services.questions.moisture import DEFAULT_DAYS, MixCapacity, MoistureAnswer, ask_moisture
from traywarden.services.questions.moisture_head import HeadMoisture, Learned

HOLDS = "shown"


def register(app: typer.Typer) -> None:
    app.command("moisture", rich_help_panel=PANEL)(moisture)


def moisture(
    tray: str = typer.Argument("", help="The tray; all unless given.", autocompletion=completion.trays),
    days: float = typer.Option(
        DEFAULT_DAYS, "--days", "-d", max=3660.0, help="How far back the heads' own record is looked at."
    ),
    as_json: bool = JSON_OPTION,
) -> None:
    """How wet each tray is: between dry and container capacity, and on the trade's scale from 1 to 5.

    With it what the record shows of every head: the container capacity that thorough waterings come back to,
    a drift over weeks, and what warmth does to the sensor (which is taken out where the record proves it).

    Example: `traywarden moisture A1 --days 60`
    """
    with asking() as on:
        display = on.display
        answer = ask_moisture(on, tray, days)
    emit(answer, lambda told: _print(told, display, whole=bool(tray)), as_json=as_json)


def _print(answer: MoistureAnswer, display: Display, *, whole: bool) -> None:
    say(answer.sentence)
    rows = [(tray.tray, tray.mix or "", head) for tray in answer.trays for head in tray.heads]
    if rows:
        say("")
        _print_heads(rows, whole=whole)
    if whole:
        for _, _, head in rows:
            _print_head(head, display)
    for mix in answer.mixes:
        if whole or mix.differs:
            say(_capacity_words(mix))
    begins = ", ".join(
        f"{number} from {part * 100:.0f} %" for number, part in enumerate(answer.levels_from, 2)
    )
    if rows:
        say(f"Levels: {begins} of the way from dry to container capacity ({answer.mapping_source}).")
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def _print_heads(rows: Sequence[tuple[str, str, HeadMoisture]], *, whole: bool) -> None:
    notes = Notes()
    several = whole or len({tray for tray, _, _ in rows}) < len(rows)
    print_table(
        ("tray", "head", "level", "dry to full", "now", "full is", HOLDS, "drift in 4 weeks", ""),
        [
            (
                tray,
                head.head if several else "",
                "–" if head.level is None else f"{head.level.number} {head.level.name}",
                "–" if head.part is None else f"{head.part * 100:.0f} %",
                "–" if head.moisture_m3_m3 is None else f"{head.moisture_m3_m3:.2f}",
                "" if head.capacity_m3_m3 is None else f"{head.capacity_m3_m3:.2f}",
                _holds(head.learned, 2),
                _drift(head),
                _marks(head, notes),
            )
            for tray, _, head in rows
        ],
        right=("now", "dry to full", "full is"),
        spare=("head",),
    )
    notes.say()
    say(
        "In m³/m³. Full is what its mix is set to hold after draining; shown is what thorough waterings come "
        "back to [95 %]."
    )


def _not_shown(learned: Learned) -> str:
    return f"not shown yet: {learned.reason}" if learned.reason else ""


def _marks(head: HeadMoisture, notes: Notes) -> str:
    drift = f"{head.head}: {head.drift.says}" if head.drift.drifts else ""
    return " ".join(filter(None, map(notes.mark, (head.trouble, _not_shown(head.learned), drift))))


def _holds(learned: Learned, digits: int = 3) -> str:
    if learned.m3_m3 is None or learned.low_m3_m3 is None or learned.high_m3_m3 is None:
        return ""
    middle, low, high = (f"{v:.{digits}f}" for v in (learned.m3_m3, learned.low_m3_m3, learned.high_m3_m3))
    return f"{middle} [{low}–{high}]"


def _drift(head: HeadMoisture) -> str:
    drift = head.drift
    if drift.m3_m3_in_4_weeks is None or drift.low_m3_m3 is None or drift.high_m3_m3 is None:
        return ""
    mark = " drifts" if drift.drifts else ""
    return f"{drift.m3_m3_in_4_weeks:+.3f} [{drift.low_m3_m3:+.3f} to {drift.high_m3_m3:+.3f}]{mark}"


def _print_head(head: HeadMoisture, display: Display) -> None:
    say(f"\n{head.head}, since {head.since:%Y-%m-%d %H:%M}:")
    if head.level is not None:
        say(f"  Level {head.level.number} by hand: {head.level.signs}.")
    say(f"  Dry end {head.dry_m3_m3:.3g} m³/m³: {head.dry_source}.")
    learned = head.learned
    if learned.m3_m3 is not None:
        say(f"  Holds {_holds(learned)} m³/m³ after {learned.waterings} of {learned.plateaus} waterings.")
    else:
        say(f"  Container capacity not learned: {learned.reason}.")
    say(f"  Drift: {head.drift.says}.")
    say(f"  Warmth: {_warmth_words(head, display)}.")


def _warmth_words(head: HeadMoisture, display: Display) -> str:
    warmth = head.warmth
    if warmth.m3_m3_per_c is None or warmth.low_m3_m3_per_c is None or warmth.high_m3_m3_per_c is None:
        return f"what it does to the sensor cannot be told: {warmth.reason}"
    per_10 = [
        v * 10 / display.degrees_per_c
        for v in (warmth.m3_m3_per_c, warmth.low_m3_m3_per_c, warmth.high_m3_m3_per_c)
    ]
    words = (
        f"10 °{display.temperature} more read {per_10[0]:+.4f} m³/m³ [{per_10[1]:+.4f} to {per_10[2]:+.4f}]"
    )
    if not warmth.taken_out:
        return f"{words}; left in, as {warmth.reason}"
    gain = f"{100 * (warmth.removed_share or 0):.0f} % of the daily wiggle"
    return f"{words}; taken out, which removes {gain} on days it was not fitted to"


def _capacity_words(mix: MixCapacity) -> str:
    if mix.learned_m3_m3 is None or mix.low_m3_m3 is None or mix.high_m3_m3 is None:
        return f"{mix.mix}: container capacity set to {mix.set_m3_m3:.3g} m³/m³; {mix.reason}."
    shown = (
        f"{mix.mix}: container capacity set to {mix.set_m3_m3:.3g} m³/m³; {mix.heads} "
        f"head{'' if mix.heads == 1 else 's'} and {mix.waterings} waterings show {mix.learned_m3_m3:.3f} "
        f"[{mix.low_m3_m3:.3f}–{mix.high_m3_m3:.3f}]"
    )
    if not mix.differs:
        return f"{shown}."
    return f'{shown}. To let that hold from now on: traywarden mix accept "{mix.mix}"'
