"""What every part of a notebook's garden asks with: the ground to stand on, moments in, tables out."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, is_dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from traywarden.domain.garden import Garden
from traywarden.errors import UsageError
from traywarden.services.questions.ground import Ground, ground
from traywarden.settings import Settings
from traywarden.store.store import Store

Moment = str | date | datetime | pd.Timestamp


class Asking:
    """An opened garden, as of one instant; each topic of the notebook adds its tables to it."""

    zone: ZoneInfo
    _settings: Settings
    _store: Store
    _garden: Garden
    _now_ms: int

    @contextmanager
    def _ground(self) -> Iterator[Ground]:
        with self._store.read() as tx:
            yield ground(tx, self._garden, self._settings, self._now_ms)

    def _by_time(self, rows: Sequence[dict[str, Any]], index: str) -> pd.DataFrame:
        if not rows:
            return pd.DataFrame(index=pd.DatetimeIndex([], tz=self.zone, name=index))
        table = pd.DataFrame(rows)
        for name in (index, "end"):
            if name in table:
                table[name] = pd.to_datetime(table[name], utc=True).dt.tz_convert(self.zone)
        return table.set_index(index).sort_index(kind="stable")

    def _ms(self, moment: Moment) -> int:
        """Milliseconds since 1970; a time without a zone is the garden's."""
        unreadable = UsageError(f"The time “{moment}” cannot be read; write it like “2026-03-01 08:00”.")
        try:
            stamp = pd.Timestamp(moment)
        except ValueError as error:
            raise unreadable from error
        if pd.isna(stamp):
            raise unreadable
        if stamp.tzinfo is None:
            # A clock time that comes twice means the first; one that clocks jumped over, the jump.
            stamp = stamp.tz_localize(self.zone, ambiguous=True, nonexistent="shift_forward")
        return round(stamp.timestamp() * 1000)

    def _day(self, moment: Moment | None) -> date | None:
        if moment is None:
            return None
        return pd.Timestamp(self._ms(moment), unit="ms", tz="UTC").tz_convert(self.zone).date()


def rows(rows: Sequence[Any]) -> pd.DataFrame:
    return pd.DataFrame(
        [asdict(row) if is_dataclass(row) and not isinstance(row, type) else row for row in rows]
    )
