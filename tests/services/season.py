"""A simulated season in a real store, made once for the tests that ask about it."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from traywarden.demo.season import MIDDLE_MIX, Season, grown
from traywarden.demo.season_store import StoredSeason, kept
from traywarden.demo.trays import Substrate
from traywarden.services.questions.ground import Ground, ground
from traywarden.settings import load
from traywarden.store.store import Store


def holding(times: float) -> Substrate:
    """The middle mix with every water content so many times as large: it dries that much more slowly."""
    return replace(
        MIDDLE_MIX,
        capacity_m3_m3=MIDDLE_MIX.capacity_m3_m3 * times,
        residual_m3_m3=MIDDLE_MIX.residual_m3_m3 * times,
        stage_one_ends_m3_m3=MIDDLE_MIX.stage_one_ends_m3_m3 * times,
        saturated_m3_m3=MIDDLE_MIX.saturated_m3_m3 * times,
    )


@dataclass(frozen=True)
class Kept:
    """The store, what it knows the season as, and the season with its truth."""

    store: Store
    stored: StoredSeason
    season: Season

    @contextmanager
    def ground(self, now_ms: int | None = None, **settings: Any) -> Iterator[Ground]:
        chosen = load(
            Path("/nowhere"), environ={}, overrides={k.replace("__", "."): v for k, v in settings.items()}
        )
        with self.store.read() as tx:
            yield ground(tx, self.stored.garden, chosen, self.stored.now_ms if now_ms is None else now_ms)

    def head(self, tray: str) -> int:
        return next(n for n, plan in enumerate(self.season.plans) if plan.tray == tray)


def kept_season(folder: Path, *, season: Season | None = None, **how: Any) -> Kept:
    """A season in a new SQLite store in the folder; `how` goes to `kept`. Close `.store` when done."""
    store = Store.open(f"sqlite:///{folder / 'traywarden.sqlite3'}")
    made = season or grown(days=50, heads=9, seed=31, start_s=1_772_496_000)
    return Kept(store, kept(store, made, **how), made)
