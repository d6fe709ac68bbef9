"""Names for the shell to complete, read from the store. Whatever goes wrong, the answer is just no names."""

import os
import re
from collections.abc import Callable, Iterable
from pathlib import Path

import typer

from traywarden.settings import default_home, load
from traywarden.store import garden as garden_store
from traywarden.store import probes as probe_store
from traywarden.store.crops import load_crops
from traywarden.store.store import Store, Tx

SQLITE = "sqlite:///"
Completer = Callable[[typer.Context, str], list[str]]


def _from_store(ctx: typer.Context, names: Callable[[Tx], Iterable[str]]) -> list[str]:
    home = ctx.find_root().params.get("home")
    settings = load(Path(home).expanduser() if home else default_home())
    url = settings.store_url
    if url.startswith(SQLITE) and not Path(url.removeprefix(SQLITE)).exists():
        return []  # pressing Tab must not make a store
    with Store.open(url) as store, store.read() as tx:
        return list(names(tx))


def _for_the_shell(name: str) -> str:
    """The name as it must stand on the line: bash takes it as it is, other shells quote it."""
    if os.environ.get("_TRAYWARDEN_COMPLETE") == "complete_bash":
        return re.sub(r"([^\w@%+=:,./-])", r"\\\1", name)
    return name


def _completer(names: Callable[[typer.Context], Iterable[str]]) -> Completer:
    def complete(ctx: typer.Context, incomplete: str) -> list[str]:
        try:
            found = list(names(ctx))
        except Exception:  # noqa: BLE001  a traceback in the middle of the line someone is typing helps no one
            return []
        return [_for_the_shell(name) for name in found if name.startswith(incomplete)]

    return complete


trays = _completer(lambda ctx: _from_store(ctx, lambda tx: (t.name for t in garden_store.trays(tx))))
places = _completer(lambda ctx: _from_store(ctx, lambda tx: (p.name for p in garden_store.places(tx))))
mixes = _completer(lambda ctx: _from_store(ctx, lambda tx: (m.name for m in garden_store.mixes(tx))))
lots = _completer(lambda ctx: _from_store(ctx, lambda tx: (x.name for x in garden_store.lots(tx))))
heads = _completer(lambda ctx: _from_store(ctx, lambda tx: (h.label for h in probe_store.heads(tx))))
crops = _completer(lambda ctx: (crop.key for crop in load_crops().values()))
