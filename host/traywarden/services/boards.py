"""A board on the USB cable: installing the firmware on it, and asking it.

What is asked and answered is one JSON object to a line; firmware/docs/usb.md has the list.
"""

import shutil
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

import msgspec

from traywarden.errors import BoardError, UsageError, did_you_mean
from traywarden.links.boards import run_tool, tool
from traywarden.links.serial import SerialLine

FIRMWARE = Path(__file__).parents[3] / "firmware"
"""The firmware beside the program's source; elsewhere the command has to name it."""
PARTS = ("drivers", "probe")
ANSWER_S = 15.0
REACH_S = 20.0
HELLO_EVERY_S = 1.0
_LOOK_S = 0.2
IMAGE_MAGIC = 0xE9
"""First byte of an image for these chips (esptool's documentation, “Firmware Image Format”)."""
LEAST_IMAGE_BYTES = 500_000
TRIES = 6
TRY_AGAIN_S = 2.0

# MicroPython takes a module's source before its compiled file, so what is left of an older firmware must go.
_REMOVE = """import os
for part in {parts}:
    try:
        for name in [entry[0] for entry in os.ilistdir(part)]:
            if part + "/" + name not in {kept}:
                os.remove(part + "/" + name)
    except OSError:
        pass
"""


@dataclass(frozen=True, slots=True)
class Chip:
    """What esptool calls a board's chip, where MicroPython goes on it, and what its image is called."""

    chip: str
    address: str
    image: str


# Addresses as on the download page of each image (micropython.org/download/ESP32_GENERIC_C3 and so on).
BOARDS: Mapping[str, Chip] = {
    "esp32-c3": Chip("esp32c3", "0x0", "ESP32_GENERIC_C3"),
    "esp32-c3-four": Chip("esp32c3", "0x0", "ESP32_GENERIC_C3"),
    "esp32-s3": Chip("esp32s3", "0x0", "ESP32_GENERIC_S3"),
    "esp32": Chip("esp32", "0x1000", "ESP32_GENERIC"),
}


class Finding(msgspec.Struct, frozen=True):
    """Whether one sensor answers, in plain words."""

    sensor: str
    ok: bool
    words: str


class Check(msgspec.Struct, frozen=True):
    ok: bool
    findings: list[Finding]


class Seen(msgspec.Struct, frozen=True):
    """What the sensors read at one time, named as in a pack, and which gave nothing."""

    values: dict[str, float]
    faults: list[str]


class Spooled(msgspec.Struct, frozen=True):
    """Readings that wait on flash and in memory, those dropped because it was full, and damaged ones."""

    waiting: int
    gathered: int
    dropped: int
    damaged: int


class LastReset(msgspec.Struct, frozen=True):
    words: str


class SetUp(msgspec.Struct, frozen=True):
    """The settings as they are now, passwords as stars; `refused` has every reason where they are the old."""

    settings: dict[str, Any]
    refused: list[str] = []


Answer = TypeVar("Answer", bound=msgspec.Struct)


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that is done to a board: in words, and the tool that does it."""

    says: str
    tool: str
    arguments: tuple[str, ...]
    tries: int = 1


def chip_of(board: str) -> Chip:
    if board not in BOARDS:
        raise UsageError(f"There is no board “{board}”{did_you_mean(board, BOARDS)}.")
    return BOARDS[board]


def checked_image(image: Path, chip: Chip) -> Path:
    """The image, if it can be one. Raises UsageError."""
    try:
        with image.open("rb") as file:
            first, size = file.read(1), image.stat().st_size
    except OSError as error:
        raise UsageError(f"The image {image} cannot be read ({error.strerror}).") from error
    if not first or first[0] != IMAGE_MAGIC or size < LEAST_IMAGE_BYTES:
        raise UsageError(
            f"{image} is no MicroPython image; take the .bin file from micropython.org/download/{chip.image}."
        )
    return image


def no_image(board: str) -> str:
    """What to do about a missing image."""
    return (
        f"Say which MicroPython image to flash: --image FILE. Take the newest .bin (1.22 or later) from "
        f"micropython.org/download/{chip_of(board).image}; a board that has it already: --keep-micropython."
    )


def staged(firmware: Path, folder: Path) -> bool:
    """Put what belongs on the board into a folder; True where it was compiled, which wakes faster.

    Raises UsageError where there is no firmware.
    """
    if not (firmware / "main.py").is_file() or not all((firmware / part).is_dir() for part in PARTS):
        raise UsageError(f"There is no firmware in {firmware}; name its folder with --firmware.")
    compiled = tool("mpy-cross") is not None
    for part in PARTS:
        (folder / part).mkdir(parents=True)
        for module in sorted((firmware / part).glob("*.py")):
            into = folder / part / module.name
            if compiled:
                name = f"{part}/{module.name}"
                run_tool("mpy-cross", ["-O3", "-s", name, "-o", str(into.with_suffix(".mpy")), str(module)])
            else:
                shutil.copyfile(module, into)
    shutil.copyfile(firmware / "main.py", folder / "main.py")
    return compiled


def install_steps(port: str, board: str, image: Path | None, folder: Path) -> list[Step]:
    """What brings MicroPython (unless `image` is None) and the firmware in `folder` onto a board."""
    chip = chip_of(board)
    steps = []
    if image is not None:
        flash = ("--chip", chip.chip, "--port", port, "write-flash", "--erase-all", chip.address, str(image))
        steps.append(Step(f"erase the board and flash {image.name}", "esptool", flash))
    else:
        kept = sorted(f"{part}/{module.name}" for part in PARTS for module in (folder / part).iterdir())
        remove = ("connect", port, "exec", _REMOVE.format(parts=PARTS, kept=kept))
        steps.append(Step("remove what the firmware no longer has", "mpremote", remove, tries=TRIES))
    files = (*(str(folder / part) for part in PARTS), str(folder / "main.py"))
    copy = ("connect", port, "fs", "cp", "-r", *files, ":")
    # After flashing, the port needs a moment to come back.
    steps.append(Step("copy the firmware", "mpremote", copy, tries=TRIES))
    return [*steps, _start_step(port)]


def copy_steps(port: str, file: Path, name: str) -> list[Step]:
    """Copy one file to the board under a name, and start it again."""
    copy = ("connect", port, "fs", "cp", str(file), f":{name}")
    return [Step(f"copy {file.name}", "mpremote", copy, TRIES), _start_step(port)]


def _start_step(port: str) -> Step:
    return Step("start it", "mpremote", ("connect", port, "reset"), TRIES)


def do_step(step: Step, rest: Callable[[float], None] = time.sleep) -> None:
    """Run a step's tool, again where it may need a moment. Raises BoardError."""
    for left in reversed(range(step.tries)):
        try:
            run_tool(step.tool, step.arguments)
        except BoardError:
            if not left:
                raise
            rest(TRY_AGAIN_S)
        else:
            return


class BoardTalk:
    """Questions to the probe on a port, one at a time. Opening waits until it is there and answers."""

    def __init__(self, path: str, *, reach_s: float = REACH_S) -> None:
        self.path = path
        self._count = 0
        self._line = self._reached(time.monotonic() + reach_s)

    def ask(self, question: str, kind: type[Answer], *, answer_s: float = ANSWER_S, **more: Any) -> Answer:
        """The answer to one question. Raises BoardError: silence, or what the probe says is wrong."""
        answer = self._asked(self._line, {"ask": question, **more}, time.monotonic() + answer_s)
        if answer is None:
            raise BoardError(
                f"The probe on {self.path} did not answer “{question}” in {answer_s:g} s; "
                "press its reset button and try again."
            )
        if answer.get("answer") == "error":
            raise BoardError(f"The probe on {self.path} cannot answer “{question}”: {answer.get('why')}.")
        try:
            return msgspec.convert(answer, kind)
        except msgspec.ValidationError as error:
            raise BoardError(
                f"The probe on {self.path} answers “{question}” in a way we do not know ({error}); bring our "
                f"firmware onto it: traywarden probe install {self.path} --keep-micropython"
            ) from error

    def tell(self, question: str) -> None:
        """Ask for something that leaves no time to answer."""
        self._line.write(msgspec.json.encode({"ask": question}))

    def close(self) -> None:
        self._line.close()

    def __enter__(self) -> "BoardTalk":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _reached(self, until_s: float) -> SerialLine:
        silent = (
            f"The board on {self.path} does not answer; press its reset button and try again at once, as a "
            "probe with Wi-Fi listens only for some seconds. On a new board: traywarden probe install "
            f"{self.path} --image FILE"
        )
        while True:
            line: SerialLine | None = None
            try:
                line = SerialLine(self.path)
                while time.monotonic() < until_s:
                    next_s = min(until_s, time.monotonic() + HELLO_EVERY_S)
                    if self._asked(line, {"ask": "hello"}, next_s) is not None:
                        return line
                line.close()
                raise BoardError(silent)
            except BoardError:
                if line is not None:
                    line.close()
                if time.monotonic() >= until_s:
                    raise
                time.sleep(_LOOK_S)  # asleep, or just plugged in: its port may come yet

    def _asked(self, line: SerialLine, question: dict[str, Any], until_s: float) -> dict[str, Any] | None:
        self._count += 1
        line.write(msgspec.json.encode(question | {"id": self._count}))
        while (left_s := until_s - time.monotonic()) > 0:
            for came in line.lines(min(left_s, _LOOK_S)):
                said = _object(came)
                if said is not None and "answer" in said and said.get("id") == self._count:
                    return said
        return None


def _object(line: bytes) -> dict[str, Any] | None:
    """A JSON object, or None: the chip says other things too."""
    if not line.startswith(b"{"):
        return None
    try:
        return msgspec.json.decode(line, type=dict[str, Any])
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
