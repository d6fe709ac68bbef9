"""`traywarden notices set` and `unset`: levels and delays of rules, for all or for one crop, mix or stage."""

from dataclasses import dataclass
from typing import Any

import typer

from traywarden.cli import context
from traywarden.cli.asking import asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.notices import notices_app
from traywarden.cli.tables import say
from traywarden.services.level_names import key_for
from traywarden.services.running import running_host
from traywarden.settings import BY_KEY, change_settings, changed, general_key, load, take_back

KEY = typer.Argument(..., help="A level or delay of a rule, such as dry.open_delay_s.")
CROP = typer.Option("", "--crop", help="For this crop alone.")
MIX = typer.Option("", "--mix", help="For this mix alone.")
STAGE = typer.Option("", "--stage", help="For this stage alone: sown, emerging, seedling, potted_up …")


@dataclass(frozen=True, slots=True)
class LevelSet:
    """A level or delay as settings.toml has it now. `running`: a host goes by it within seconds."""

    setting: str
    value: Any
    unit: str
    says: str
    running: bool


def register() -> None:
    """They stand in the group of `notices`, which is registered already."""
    notices_app.command("set")(notices_set)
    notices_app.command("unset")(notices_unset)


def notices_set(
    key: str = KEY,
    value: str = typer.Argument(..., help="The number, in the unit that `notices explain` shows."),
    crop: str = CROP,
    mix: str = MIX,
    stage: str = STAGE,
    as_json: bool = JSON_OPTION,
) -> None:
    """Set a level or delay of a rule, for all or for one crop, mix or stage; kept in settings.toml.

    A crop's counts before a mix's, and that before a stage's.

    Example: `traywarden notices set dry.open_delay_s 7200 --crop lettuce`
    """
    full = _key(key, crop, mix, stage)
    found = changed(load(context.home()), {full: value})
    change_settings(context.home(), {full: found.overrides.get(full, found.values.get(full))})
    _emit(full, as_json=as_json)


def notices_unset(
    key: str = KEY, crop: str = CROP, mix: str = MIX, stage: str = STAGE, as_json: bool = JSON_OPTION
) -> None:
    """Take a level or delay back; what holds otherwise holds then: the mix's, the stage's, or as delivered.

    Example: `traywarden notices unset dry.open_delay_s --crop lettuce`
    """
    given = load(context.home()).overrides
    full = key if key in given else _key(key, crop, mix, stage)  # also for a name that nothing has
    take_back(context.home(), full)
    _emit(full, as_json=as_json)


def _key(key: str, crop: str, mix: str, stage: str) -> str:
    with asking() as on:
        return key_for(on.tx, key, crop=crop, mix=mix, stage=stage)


def _emit(key: str, *, as_json: bool) -> None:
    found, row = load(context.home()), BY_KEY[general_key(key) or key]
    value = found.overrides.get(key, found[row.key])
    emit(
        LevelSet(key, value, row.unit, row.says, running_host(context.home()) is not None),
        _print,
        as_json=as_json,
    )


def _print(level: LevelSet) -> None:
    say(f"{level.setting} is {level.value:g} {level.unit}. {level.says}")
    if level.running:
        say("The host goes by it within seconds.")
