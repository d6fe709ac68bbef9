"""What the garden's own records taught of emergence, on screen."""

from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.clock_words import day_words
from traywarden.services.questions.emergence_answer import Done
from traywarden.services.questions.learned import LearnedAnswer, LearnedCrop


def print_learned(answer: LearnedAnswer) -> None:
    if not answer.crops:
        say('Nothing was sown yet; write it down with: traywarden sowed "TRAY" --crop tomato')
        return
    taught = [c for c in answer.crops if c.taught_by]
    if not taught:
        say(
            "Your records taught nothing yet: write down what you see with: traywarden emerged TRAY --count N"
        )
    for crop in taught:
        say(_in_words(crop))
    say("")
    print_table(
        ("crop", "lot", "before", "taught by", "now"),
        [row for crop in answer.crops for row in _rows(crop)],
        right=("taught by",),
    )
    say("")
    notes = Notes()
    newest = max(s.sown for crop in answer.crops for s in crop.sowings)
    print_table(
        ("entry", "crop", "tray", "sown", "lot", "looks", "says", ""),
        [
            (
                f"{s.entry}",
                crop.crop,
                s.tray,
                day_words(s.sown, newest),
                s.lot or "",
                f"{s.looks}",
                "" if s.alone is None else f"× {s.alone:.2f}",
                notes.mark(s.why_not),
            )
            for crop in answer.crops
            for s in crop.sowings
        ],
        right=("looks",),
        spare=("lot",),
    )
    notes.say()
    say(
        "Factors are times the table's days, in brackets the 80 % band. To leave one out, or take it in "
        "again: traywarden journal correct ENTRY --leave-out (or --learn). Undoing an entry takes its part "
        "back too."
    )


def _in_words(crop: LearnedCrop) -> str:
    after = crop.after.expected
    if crop.after.low > 1.0 or crop.after.high < 1.0:
        times = (
            f"{after:.2f} times the table's days" if after > 1 else f"only {after:.2f} of the table's days"
        )
        return f"{crop.crop} takes {times} here ({crop.after.low:.2f} to {crop.after.high:.2f})."
    band = f"({crop.after.low:.2f} to {crop.after.high:.2f})"
    return f"{crop.crop}: no difference from the table shows yet {band}."


def _rows(crop: LearnedCrop) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [
        (
            crop.crop,
            "any",
            _factor(crop.before),
            f"{crop.taught_by} sowing{'s' * (crop.taught_by != 1)}",
            _factor(crop.after),
        )
    ]
    return rows + [("", lot.lot, "", "", _factor(lot.factor)) for lot in crop.lots]


def _factor(done: Done) -> str:
    return f"{done.expected:.2f} ({done.low:.2f}–{done.high:.2f})"
