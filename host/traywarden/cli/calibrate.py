"""`calibrate`: what a head's volts mean in the grower's own mix, step by step."""

import time
from dataclasses import dataclass

import typer

from traywarden.cli import completion, context
from traywarden.cli.context import AT_OPTION, JSON_OPTION, Bench, bench, emit
from traywarden.cli.moments import at_ms, at_words
from traywarden.cli.tables import print_table, say
from traywarden.cli.written import Written, answer, entry_numbers
from traywarden.domain.calibration import Points, Steadiness
from traywarden.domain.garden import Head, Mix
from traywarden.domain.journal import Entry
from traywarden.errors import UsageError
from traywarden.services.calibrating import (
    DRY_MIX_M3_M3,
    HeadVolts,
    WeighedCurve,
    container_capacity_m3_m3,
    head_volts,
    recent_volts,
    two_points,
    weigh_pot,
    weighed_curve,
    write_calibration,
)
from traywarden.services.journal_words import entry_lines
from traywarden.services.moments import parse_moment
from traywarden.services.setting_up import head_named
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store

calibrate_app = typer.Typer(
    no_args_is_help=True, help="Calibrate a moisture head in your own mix; the past is computed anew with it."
)
LOOK_S = 2.0
HEAD = typer.Argument(..., help="The head: PROBE/NUMBER, such as bench-1/1.", autocompletion=completion.heads)
MIX_OPTION = typer.Option(
    "", "--mix", "-m", help="Let it hold for every head in this mix.", autocompletion=completion.mixes
)
MINUTES_OPTION = typer.Option(
    30.0, "--minutes", min=1, max=1440, help="How far back readings count; three are the least."
)
REDO_OPTION = typer.Option(
    False, "--redo", help="In the place of the last one: for all the time that one held."
)
NOTE_OPTION = typer.Option("", "--note", help="Anything to remember.")


def register(app: typer.Typer) -> None:
    app.add_typer(calibrate_app, name="calibrate", rich_help_panel="Set up")


@calibrate_app.command("volts")
def calibrate_volts(head: str = HEAD, minutes: float = MINUTES_OPTION, as_json: bool = JSON_OPTION) -> None:
    """Show what a head has read in the last minutes: median, spread, and whether it stands still.

    Example: `traywarden calibrate volts bench-1/1`
    """
    with bench() as b:
        with b.store.read() as tx:
            known = head_named(tx, head)
            told = recent_volts(tx, known, b.now_ms - round(minutes * 60_000), b.now_ms + 1)
        emit(head_volts(known, told), lambda shown: _print_volts(shown, minutes), as_json=as_json)


@calibrate_app.command("two-point")
def calibrate_two_point(
    head: str = typer.Argument(
        "", help="The head; may be left out with --mix and both volts.", autocompletion=completion.heads
    ),
    mix: str = MIX_OPTION,
    dry_volts: float | None = typer.Option(None, help="What it reads in air-dry mix, if you know."),
    wet_volts: float | None = typer.Option(
        None, help="… and in mix that was soaked and has drained an hour."
    ),
    dry: float = typer.Option(DRY_MIX_M3_M3, help="Water in the dry mix, as a fraction of its volume."),
    wet: float | None = typer.Option(
        None, help="Water in the drained mix; default the mix's container capacity."
    ),
    minutes: float = MINUTES_OPTION,
    redo: bool = REDO_OPTION,
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Calibrate with two points: air-dry mix, and mix that was watered and has drained.

    It leads you through both and takes the volts as the readings arrive, once they stand still; the host
    must be running. Volts that you know already are not asked for. A new calibration holds from its date on
    (the first also before it); with --redo it takes the last one's place, and the past is computed anew.

    Example: `traywarden calibrate two-point bench-1/1`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.read() as tx:
            known = head_named(tx, head) if head else None
            of = garden_store.mix_named(tx, mix) if mix else None
            if wet is None:
                wet = of.container_capacity_m3_m3 if of else container_capacity_m3_m3(tx, known, when)
        if known is None and (of is None or dry_volts is None or wet_volts is None):
            raise UsageError(
                "Say what to calibrate: a head such as bench-1/1, or --mix NAME with both its volts, "
                "--dry-volts and --wet-volts."
            )
        two_points(0.0, 1.0, dry, wet)  # says before the steps what cannot be
        if dry_volts is None:
            dry_volts = _led(b, known, minutes, "Push the head into air-dry mix, to its mark.")
        if wet_volts is None:
            wet_volts = _led(
                b, known, minutes, "Soak the mix, let it drain for an hour, and leave the head in it."
            )
        points = two_points(dry_volts, wet_volts, dry, wet)
        with b.store.write() as tx:
            entry = write_calibration(tx, points, when, b.now_ms, head=known, mix=of, note=note, redo=redo)
        says = f"{_who(known, of)} {dry:g} m³/m³ at {dry_volts:g} V and {wet:g} m³/m³ at {wet_volts:g} V."
        answer(b, says, [entry], as_json=as_json)


@calibrate_app.command("weigh")
def calibrate_weigh(
    head: str = HEAD,
    grams: float = typer.Option(..., "--grams", "-g", help="What the whole pot weighs now."),
    volts: float | None = typer.Option(None, help="What the head reads; default its last readings."),
    minutes: float = MINUTES_OPTION,
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Weigh the pot a head stands in, as it dries: each weighing is a point for `calibrate curve`.

    Fill a pot with your mix, push the head in, soak it and let it drain. Then weigh it, head and all, twice a
    day until it is dry. A slip is taken back with `journal undo`.

    Example: `traywarden calibrate weigh bench-1/1 --grams 812`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            known = head_named(tx, head)
            entry = weigh_pot(
                tx, known, grams, volts, when, b.now_ms, back_ms=round(minutes * 60_000), note=note
            )
        read_v = float(entry.data["volts"])
        says = f"The pot of head {known.label} weighed {grams:g} g at {read_v:g} V, {at_words(b, when)}."
        answer(b, says, [entry], as_json=as_json)


@dataclass(frozen=True, slots=True)
class CurveAnswer:
    """The curve, and the journal entry where it was written."""

    curve: WeighedCurve
    written: Written | None


@calibrate_app.command("curve")
def calibrate_curve(
    head: str = HEAD,
    pot_litres: float = typer.Option(..., min=0.01, max=1000, help="Volume of the mix in the pot."),
    dry_grams: float = typer.Option(
        ..., min=0, help="Weight of the pot with dry mix, head and saucer as before."
    ),
    since: str = typer.Option("30 days ago", help="Weighings from then on."),
    mix: str = MIX_OPTION,
    write: bool = typer.Option(False, "--write", help="Write it into the journal, so that it holds."),
    redo: bool = REDO_OPTION,
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Make a curve from the weighings of a pot; shows how far each is off, and which cannot be right.

    Water content is (weight − dry weight) / volume. Look at it first, then again with --write.

    Example: `traywarden calibrate curve bench-1/1 --pot-litres 1 --dry-grams 262 --write`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        start_ms = parse_moment(since, now_ms=b.now_ms, zone=b.zone).at_ms
        with b.store.read() as tx:
            known = head_named(tx, head)
            of = garden_store.mix_named(tx, mix) if mix else None
            made = weighed_curve(
                journal_store.facts(tx), known, start_ms, b.now_ms, b.zone,
                mix_litres=pot_litres, dry_grams=dry_grams,
            )  # fmt: skip
        written = None
        if write:
            with b.store.write() as tx:
                entry = write_calibration(
                    tx, made.curve, when, b.now_ms, head=known, mix=of, note=note, redo=redo
                )
            written = _written(b, made, entry, known, of)
        emit(CurveAnswer(made, written), _print_curve, as_json=as_json)


def _written(b: Bench, made: WeighedCurve, entry: Entry, head: Head, mix: Mix | None) -> Written:
    with b.store.read() as tx:
        lines = tuple(entry_lines(tx, [entry], {}, b.zone, b.display))
    ends = _ends(made.curve)
    return Written(f"{_who(head, mix)} {ends}.", lines)


def _led(b: Bench, head: Head | None, minutes: float, step: str) -> float:
    """One step: say what to do, wait until the volts stand still, and take them."""
    assert head is not None
    typer.prompt(f"{step} Then press Enter", default="", show_default=False, err=True)
    began_ms, told = context.now_ms(), ""
    while True:
        now_ms = context.now_ms()
        with b.store.read() as tx:
            seen = recent_volts(tx, head, max(began_ms, now_ms - round(minutes * 60_000)), now_ms + 1)
        if (words := _volts_words(seen)) != told:
            typer.echo(f"  {words}", err=True)
            told = words
        if seen.steady:
            return round(seen.median_v, 4)
        rest(LOOK_S)


def rest(seconds: float) -> None:
    """Until readings may have arrived; Ctrl-C ends the command and writes nothing."""
    time.sleep(seconds)


def _volts_words(told: Steadiness) -> str:
    if not told.readings:
        return told.reason
    words = f"{told.median_v:.3f} V ± {told.spread_v:.3f} V from {told.readings} readings"
    return f"{words}: steady" if told.steady else f"{words}; {told.reason}"


def _print_volts(shown: HeadVolts, minutes: float) -> None:
    if shown.median_v is None:
        say(f"Head {shown.head} has sent no volts in the last {minutes:g} minutes.")
        return
    state = "It stands still." if shown.steady else f"Not steady: {shown.reason}."
    say(
        f"Head {shown.head}: {shown.median_v:.3f} V ± {shown.spread_v:.3f} V, {shown.readings} readings in "
        f"{minutes:g} min. {state}"
    )


def _print_curve(shown: CurveAnswer) -> None:
    curve = shown.curve
    print_table(
        ("entry", "when", "grams", "volts", "water", "off the curve", ""),
        [
            (
                str(w.entry),
                w.at,
                f"{w.grams:g}",
                f"{w.volts:.3f}",
                f"{w.m3_m3:.3f} m³/m³",
                f"{w.residual_m3_m3:+.3f}",
                f"left out: does not fit the others; weigh again, or traywarden journal undo {w.entry}"
                if w.outlier
                else "",
            )
            for w in curve.weighings
        ],
        right=("grams", "volts", "off the curve"),
    )
    say(f"The curve is {_ends(curve.curve)}; it is off by {curve.rmse_m3_m3:.3f} m³/m³ (RMSE).")
    if shown.written is None:
        say("Nothing is written yet; add --write to let it hold.")
    else:
        say(f"{shown.written.says} {entry_numbers(shown.written.entries)}")


def _ends(points: Points) -> str:
    driest, wettest = (pick(points, key=lambda point: point[1]) for pick in (min, max))
    return (
        f"{driest[1]:.3f} m³/m³ at {driest[0]:.3f} V to {wettest[1]:.3f} m³/m³ at {wettest[0]:.3f} V, "
        f"{len(points)} points"
    )


def _who(head: Head | None, mix: Mix | None) -> str:
    return f"Heads in “{mix.name}” read" if mix else f"Head {head.label if head else '?'} reads"
