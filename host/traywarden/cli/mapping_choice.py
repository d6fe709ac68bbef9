"""How a file is to be read: by a mapping given, or by one guessed and confirmed by the person."""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, Protocol, TypeVar
from zoneinfo import ZoneInfo

import typer

from traywarden.errors import UsageError
from traywarden.services.guess import Guess, guess
from traywarden.services.mapping import Mapping, load_mapping, mapping_toml
from traywarden.services.outside_mapping import (
    OutsideMapping,
    guess_outside,
    load_outside_mapping,
    outside_toml,
)
from traywarden.services.stamps import offset_s_from

MAP_OPTION = typer.Option("", "--map", help="Mapping file (TOML); without it one is guessed and shown.")
ZONE_OPTION = typer.Option("", "--zone", help="Time zone of the file's wall clock; default is the garden's.")
OFFSET_OPTION = typer.Option(
    "", "--offset", help="Fixed offset of the file's clock, all year, such as “-06:00”."
)
ORDER_OPTION = typer.Option(
    "", "--date-order", help="dmy or mdy, where no date in the file tells day from month."
)
YES_OPTION = typer.Option(False, "--yes", "-y", help="Take the guessed mapping without asking.")
WRITE_OPTION = typer.Option("", "--write-map", help="Save the mapping that is used to this file.")

M = TypeVar("M")


class Guesser(Protocol[M]):
    def __call__(self, path: Path, *, zone: str, offset: str, date_order: str) -> Guess[M]: ...


@dataclass(frozen=True, slots=True)
class FileKind(Generic[M]):
    """A kind of file: how its mappings are read, guessed and written, and what one may be called."""

    load: Callable[[Path], M]
    guess: Guesser[M]
    toml: Callable[[M], str]
    example: str


LOGGER_FILE: FileKind[Mapping] = FileKind(load_mapping, guess, mapping_toml, "log.toml")
OUTSIDE_FILE: FileKind[OutsideMapping] = FileKind(
    load_outside_mapping, guess_outside, outside_toml, "forecast.toml"
)


def chosen_mapping(
    kind: FileKind[M], file: Path, map_file: str, zone: str, offset: str, date_order: str, *, yes: bool
) -> M:
    """The mapping from --map, or one guessed and confirmed. Raises UsageError when nobody confirms it."""
    if map_file:
        return kind.load(Path(map_file))
    if offset and offset_s_from(offset) is None:
        raise UsageError(f"--offset is “{offset}”; write it like “-06:00”.")
    if zone and not _is_zone(zone):
        raise UsageError(f"--zone is “{zone}”, which is no known zone; write it like “Europe/Lisbon”.")
    if date_order not in ("", "dmy", "mdy"):
        raise UsageError(f"--date-order is “{date_order}”; write dmy or mdy.")
    terminal = sys.stdin.isatty() and sys.stdout.isatty()
    guessed = kind.guess(file, zone=zone, offset=offset, date_order=date_order)
    while guessed.doubts and terminal:
        doubt = guessed.doubts[0]
        if doubt.key == "date_order":
            choices = ", ".join(f"{key} = {says}" for key, says in doubt.answers.items())
            date_order = _asked(f"{doubt.question} {choices}", lambda text: text in ("dmy", "mdy"))
        else:
            answer = _asked(
                f"{doubt.question} A zone such as Europe/Lisbon, or an offset such as -06:00",
                lambda text: _is_zone(text) or offset_s_from(text) is not None,
            )
            zone, offset = ("", answer) if offset_s_from(answer) is not None else (answer, "")
        guessed = kind.guess(file, zone=zone, offset=offset, date_order=date_order)
    if guessed.doubts:
        doubt = guessed.doubts[0]
        how = "--date-order dmy or mdy" if doubt.key == "date_order" else "--zone or --offset"
        raise UsageError(f"{doubt.question} Say it with {how}, or give a mapping with --map.")
    if yes:
        return guessed.mapping
    typer.echo(kind.toml(guessed.mapping))
    if not terminal:
        raise UsageError(
            "Nothing was imported: this is only the mapping guessed for the file; take it with --yes, or "
            f"save it (> {kind.example}), correct it there and give it with --map {kind.example}."
        )
    if not typer.confirm("Import with this mapping?", default=True):
        raise UsageError(
            f"Nothing was imported. To correct the mapping, save it by adding “> {kind.example}” to the "
            f"command, and give it with --map {kind.example}."
        )
    return guessed.mapping


def keep_mapping(kind: FileKind[M], mapping: M, path: str) -> None:
    """Save the mapping that is used, where that was asked for."""
    if not path:
        return
    try:
        Path(path).write_text(kind.toml(mapping), encoding="utf-8")
    except OSError as error:
        raise UsageError(f"{path} cannot be written ({error.strerror}); name another file.") from error


def _asked(question: str, fits: Callable[[str], bool]) -> str:
    while True:
        answer: str = typer.prompt(question).strip()
        if fits(answer):
            return answer


def _is_zone(text: str) -> bool:
    try:
        ZoneInfo(text)
    except (KeyError, ValueError, OSError):
        return False
    return True
