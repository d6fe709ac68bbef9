"""What a command that wrote something answers: what now holds, and the number that takes it back."""

from collections.abc import Sequence
from dataclasses import dataclass

from traywarden.cli.context import Bench, emit
from traywarden.cli.tables import say
from traywarden.domain.journal import Entry
from traywarden.services.journal_words import EntryLine, entry_lines


@dataclass(frozen=True, slots=True)
class Written:
    """Journal entries that were just written, and what now holds."""

    says: str
    entries: tuple[EntryLine, ...]


def answer(bench: Bench, says: str, entries: Sequence[Entry], *, as_json: bool) -> None:
    """Print what now holds, with the numbers that `journal undo` takes."""
    with bench.store.read() as tx:
        lines = tuple(entry_lines(tx, entries, {}, bench.zone, bench.display))
    emit(Written(says, lines), _print, as_json=as_json)


def entry_numbers(lines: Sequence[EntryLine]) -> str:
    """“Entry 7” or “Entries 7, 8”, with the way back."""
    if not lines:
        return ""
    numbers = [str(line.entry) for line in lines]
    noun = "Entry" if len(numbers) == 1 else "Entries"
    back = " && ".join(f"traywarden journal undo {n}" for n in reversed(numbers)) if len(numbers) < 3 else ""
    return f"{noun} {', '.join(numbers)}" + (f"; to take back: {back}" if back else "") + "."


def _print(written: Written) -> None:
    say(f"{written.says} {entry_numbers(written.entries)}".strip())
