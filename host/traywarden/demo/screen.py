"""How the demo shows itself: a live table on a terminal, plain lines anywhere else."""

from types import TracebackType
from typing import Protocol

from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from traywarden.demo.view import TrayView, View
from traywarden.domain.episodes import ChangeKind
from traywarden.domain.notices import Notice

_BAR_CELLS = 18
_NOTICES_SHOWN = 6


class Screen(Protocol):
    """Where the play shows itself."""

    def __enter__(self) -> "Screen": ...
    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...
    def say(self, sentence: str) -> None:
        """A sentence that stays."""

    def show(self, view: View) -> None:
        """The garden now."""


def chosen_screen(console: Console, *, plain: bool) -> Screen:
    """The live table where somebody can watch it."""
    return PlainScreen(console) if plain or not console.is_terminal else LiveScreen(console)


class PlainScreen:
    """One line a day, and one for each notice."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._told: set[str] = set()
        self._kinds: set[str] = set()
        self._day = -1

    def __enter__(self) -> "PlainScreen":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        pass

    def say(self, sentence: str) -> None:
        self._console.print(sentence, markup=False, soft_wrap=True)

    def show(self, view: View) -> None:
        day = view.at.toordinal()
        if day != self._day:
            self._day = day
            self.say(_day_line(view))
        for notice in view.told:
            if notice.notice_id not in self._told:
                self._told.add(notice.notice_id)
                self.say(f"{view.clock(notice.created_ms):%d %b %H:%M}  {notice.title}")
                if (kind := _kind(notice)) not in self._kinds:  # the first of its kind, in full
                    self._kinds.add(kind)
                    self.say(f"    {notice.body}".replace("\n", "\n    "))


class LiveScreen:
    """A table that changes in place, the newest notices under it."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._live = Live(console=console, auto_refresh=False, transient=False)

    def __enter__(self) -> "LiveScreen":
        self._live.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.__exit__(kind, error, trace)

    def say(self, sentence: str) -> None:
        self._live.console.print(sentence, markup=False)

    def show(self, view: View) -> None:
        head = Text.assemble(
            (f"{view.at:%A %d %B, %H:%M}", "bold"), "  ·  ", f"{view.readings:,} readings stored"
        )
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
        for heading in ("place", "tray", "crop", "dry line … container capacity", "soil", "needs"):
            table.add_column(heading, header_style="dim", no_wrap=True)
        place = ""
        for tray in view.trays:
            table.add_row("" if tray.place == place else tray.place, tray.name, *_cells(tray))
            place = tray.place
        lines = [_notice_line(notice, view) for notice in reversed(view.told[-_NOTICES_SHOWN:])]
        opened = [n for n in view.told if any(kind is ChangeKind.OPENED for _, kind in n.changes)]
        newest = Text(opened[-1].body.split("\n")[0], style="italic") if opened else Text()
        self._live.update(Group(Text(), head, Text(), table, Text(), newest, Text(), *lines), refresh=True)


def _kind(notice: Notice) -> str:
    return notice.title.partition(":")[0]


def _cells(tray: TrayView) -> tuple[Text, Text, Text, Text]:
    warm = tray.soil_temp_c
    cold = warm is not None and tray.floor_c is not None and warm < tray.floor_c and not tray.up
    soil = Text("–" if warm is None else f"{warm:5.1f} °C", style="bright_blue" if cold else "")
    if tray.up:
        needs = Text("up", style="green")
    else:
        needs = Text(
            "" if tray.floor_c is None else f"{tray.floor_c:.1f} °C", style="bright_blue" if cold else "dim"
        )
    return Text(tray.crop), _bar(tray.fraction), soil, needs


def _bar(level: float | None) -> Text:
    """Full at container capacity, empty at the dry line; says so when it is below."""
    if level is None:
        return Text("no reading", style="dim")
    if level < 0:
        return Text("below the dry line", style="bold red")
    full = round(min(level, 1.0) * _BAR_CELLS)
    return Text.assemble(("█" * full, "cyan"), ("░" * (_BAR_CELLS - full), "dim"))


def _notice_line(notice: Notice, view: View) -> Text:
    style = {"urgent": "bold red", "warning": "yellow"}.get(notice.severity, "")
    return Text(
        f"{view.clock(notice.created_ms):%d %b %H:%M}  {notice.title}",
        style=style,
        overflow="ellipsis",
        no_wrap=True,
    )


def _day_line(view: View) -> str:
    warm = [t.soil_temp_c for t in view.trays if t.soil_temp_c is not None]
    dry = sum(t.fraction is not None and t.fraction < 0 for t in view.trays)
    soil = (
        f"soil {min(warm):.1f} to {max(warm):.1f} °C"
        if warm
        else f"no soil temperature {'lately' if view.readings else 'yet'}"
    )
    trays = "no tray is" if dry == 0 else "1 tray is" if dry == 1 else f"{dry} trays are"
    return f"{view.at:%a %d %b %H:%M}  {view.readings:,} readings stored; {soil}; {trays} below the dry line."
