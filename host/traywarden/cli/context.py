"""What every command needs: home, settings, the store, the garden's clock and zone, and one way to print."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import typer
from rich.console import Console

from traywarden.domain.garden import Garden
from traywarden.domain.units import Display
from traywarden.errors import NoGardenError
from traywarden.services.plain import json_text
from traywarden.settings import Settings, default_home, load
from traywarden.store import garden as garden_store
from traywarden.store.store import Store

JSON_OPTION = typer.Option(False, "--json", help="Print JSON instead of words.")
AT_OPTION = typer.Option(
    "",
    "--at",
    help="When, in the garden's time zone: “2026-03-01 08:00”, “yesterday 18:00”, “2 h ago”; a day alone "
    "is its noon; default now.",
)

console = Console(highlight=False)


@dataclass(slots=True)
class _Root:
    home: Path
    debug: bool = False


_root = _Root(home=default_home())


def remember(home: str, *, debug: bool) -> None:
    """Keep the root options for the command that follows."""
    _root.home = Path(home).expanduser() if home else default_home()
    _root.debug = debug


def home() -> Path:
    return _root.home


def settings(**overrides: Any) -> Settings:
    return load(_root.home, overrides={k.replace("__", "."): v for k, v in overrides.items()})


def now_ms() -> int:
    return time.time_ns() // 1_000_000


@dataclass(frozen=True, slots=True)
class Bench:
    """An opened garden: what a command works with."""

    store: Store
    settings: Settings
    garden: Garden
    now_ms: int

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.garden.time_zone)

    @property
    def display(self) -> Display:
        return Display(self.settings["display.temperature"], self.settings["display.length"])


@contextmanager
def opened_store() -> Iterator[tuple[Store, Settings]]:
    """The store of the home folder, made on first use."""
    chosen = settings()
    store = Store.open(chosen.store_url)
    try:
        yield store, chosen
    finally:
        store.close()


@contextmanager
def bench() -> Iterator[Bench]:
    """The opened garden; one clear sentence when there is none yet."""
    with opened_store() as (store, chosen):
        with store.read() as tx:
            garden = garden_store.the_garden(tx)
        if garden is None:
            raise NoGardenError(_root.home)
        yield Bench(store, chosen, garden, now_ms())


def emit(answer: Any, words: Callable[[Any], None], *, as_json: bool) -> None:
    """Print an answer: as JSON (dataclasses, dates and all), or through `words`."""
    if as_json:
        sys.stdout.write(json_text(answer) + "\n")
    else:
        words(answer)
