"""A bar for work that is counted."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from traywarden.cli import context


@contextmanager
def counting_bar(title: str, *, quiet: bool) -> Iterator[Callable[[int, int], None] | None]:
    """A bar that is told how many are done of how many; None where there is no terminal to draw it on."""
    if quiet or not context.console.is_terminal:
        yield None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=context.console, transient=True) as bar:
        task = bar.add_task(title, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
