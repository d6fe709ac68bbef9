"""The straightforward way to a garden's readings: pandas.read_sql from the same store, then pandas.

Written as one would in a notebook, with the vectorised calls that pandas offers and no cache of any kind.
What is asked of them is in straightforward_answers.py.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from tests.benchmarks.season import DAY_MS, ZONE, Season
from traywarden.domain.journal import Facts
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store

RANGES = {"soil_temp_c": (-50, 80), "moisture_v": (0.1, 5), "air_temp_c": (-50, 70), "rh_pct": (0, 120)}
JUMPS = {"soil_temp_c": 5.0, "moisture_v": 0.25, "air_temp_c": 8.0, "rh_pct": 25.0}
DEFAULT_POINTS = ((1.3, 0.55), (2.6, 0.0))


@dataclass
class Plain:
    """What the straightforward way has: the file, and the journal's facts, which anyone has to work out."""

    connection: sqlite3.Connection
    facts: Facts
    mixes: dict[int, Any]
    places: dict[int, Any]
    lots: dict[int, Any]
    now_ms: int
    zone: str

    @classmethod
    def of(cls, season: Season) -> "Plain":
        with season.store.read() as tx:
            return cls(
                sqlite3.connect(season.store.where),
                journal_store.facts(tx),
                {mix.mix_id: mix for mix in garden_store.mixes(tx)},
                {place.place_id: place for place in garden_store.places(tx)},
                {lot.lot_id: lot for lot in garden_store.lots(tx)},
                season.now_ms,
                ZONE,
            )

    # Readings ----------------------------------------------------------------------------------------------

    def readings(self, head_ids: Sequence[int], days: float, columns: Sequence[str]) -> pd.DataFrame:
        """Readings of heads in the last so many days, faults out."""
        marks = ",".join("?" * len(head_ids))
        frame = pd.read_sql_query(
            f"SELECT head_id, time_ms, {', '.join(columns)} FROM reading WHERE head_id IN ({marks}) "
            "AND time_ms >= ? AND time_ms < ? ORDER BY head_id, time_ms",
            self.connection,
            params=[*head_ids, self.now_ms - round(days * DAY_MS), self.now_ms + 1],
        )
        frame["time"] = pd.to_datetime(frame["time_ms"], unit="ms", utc=True)
        for column in columns:
            if column in RANGES:
                frame[column] = self._without_faults(frame, column)
        if "moisture_v" in columns and "soil_temp_c" in columns:
            cold = (frame["soil_temp_c"] <= 0).astype(float)
            frozen = cold.groupby(frame["head_id"]).rolling(72, min_periods=1).max().to_numpy() > 0
            frame.loc[frozen, "moisture_v"] = np.nan
        return frame

    @staticmethod
    def _without_faults(frame: pd.DataFrame, column: str) -> "pd.Series[float]":
        low, high = RANGES[column]
        values = frame[column].where(frame[column].between(low, high))
        by_head = values.groupby(frame["head_id"])
        before, after = values - by_head.shift(1), values - by_head.shift(-1)
        spike = (before.abs() > JUMPS[column]) & (after.abs() > JUMPS[column]) & (before * after > 0)
        return values.mask(spike | (values == 85.0))

    def of_trays(self, days: float) -> Iterator[tuple[int, int, int, pd.DataFrame]]:
        """(tray, mix, head, its readings) for every time a head was in a tray filled with a mix."""
        heads = sorted({stay.subject for stay in self.facts.head_trays})
        frame = self.readings(heads, days, ["soil_temp_c", "moisture_v"])
        by_head = dict(tuple(frame.groupby("head_id")))
        for stay in self.facts.head_trays:
            mine = by_head[stay.subject]
            for filled in self.facts.tray_mixes:
                span = stay.overlap(filled.start_ms, filled.end_ms or self.now_ms + 1)
                if filled.subject != stay.where or span is None:
                    continue
                inside = mine[(mine["time_ms"] >= span[0]) & (mine["time_ms"] < span[1])]
                if len(inside):
                    part = inside.copy()
                    part["moisture"] = self._moisture(part, stay.subject, filled.where)
                    yield stay.where, filled.where, stay.subject, part

    def _moisture(self, part: pd.DataFrame, head_id: int, mix_id: int) -> np.ndarray:
        found = np.interp(part["moisture_v"], *np.array(DEFAULT_POINTS).T)
        for calibration in self.facts.calibrations(head_id, mix_id):
            later = (part["time_ms"] >= calibration.from_ms).to_numpy()
            known = np.interp(part["moisture_v"], *np.array(calibration.points).T)
            found = np.where(later, known, found)
        return np.where(part["moisture_v"].isna(), np.nan, found)

    def of_place(self, place_id: int, days: float, column: str) -> pd.DataFrame:
        """Readings of one column by the heads of a place, each for the time it was there."""
        stays = [s for s in self.facts.head_places if s.where == place_id]
        if column == "soil_temp_c":
            stays = [
                type(head)(head.subject, place_id, *span)
                for tray in self.facts.tray_places
                if tray.where == place_id
                for head in self.facts.head_trays
                if head.where == tray.subject
                and (span := head.overlap(tray.start_ms, tray.end_ms or self.now_ms + 1))
            ]
        columns = [column] if column == "soil_temp_c" else [column, "rh_pct"]
        frame = self.readings(sorted({s.subject for s in stays}), days, columns)
        kept = np.zeros(len(frame), bool)
        for stay in stays:
            kept |= (
                (frame["head_id"] == stay.subject)
                & (frame["time_ms"] >= stay.start_ms)
                & (frame["time_ms"] < (stay.end_ms or self.now_ms + 1))
            ).to_numpy()
        return frame[kept]
