"""The opened garden with its own tables: readings, degree-days, waterings, dry-downs, comparison."""

import time
from dataclasses import asdict
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd

from traywarden.domain.flags import names as flag_names
from traywarden.domain.series import SERIES_COLUMNS, HeadSeries
from traywarden.errors import UsageError
from traywarden.notebook.asking import Moment, rows
from traywarden.notebook.batches import Batches
from traywarden.notebook.emergence import Emergence
from traywarden.notebook.moisture import MoistureTables
from traywarden.notebook.outlook import OutlookTables
from traywarden.notebook.places import Places
from traywarden.notebook.quality import Quality
from traywarden.notebook.record import Records
from traywarden.notebook.sowing import Sowing
from traywarden.notebook.weather import WeatherTables
from traywarden.services.questions.compare import CompareAsked, ask_compare
from traywarden.services.questions.degree_days import DegreeDaysAsked, ask_degree_days
from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.ground import DAY_MS
from traywarden.services.questions.waterings import ask_waterings
from traywarden.settings import default_home, load
from traywarden.store import garden as garden_store
from traywarden.store.store import Store


def open_garden(home: str | Path | None = None, *, now: Moment | None = None) -> "NotebookGarden":
    """The garden of a home folder (default: TRAYWARDEN_HOME, or your data folder), for reading.

    `now` asks as of another instant; a time without a zone is the garden's.

    Raises UsageError when there is no garden, SettingsError, StoreError.
    """
    return NotebookGarden(Path(home).expanduser() if home is not None else default_home(), now)


class NotebookGarden(
    Emergence, Quality, Batches, Sowing, OutlookTables, MoistureTables, Places, WeatherTables, Records
):
    """An opened garden. Close it, or use it in a `with` block. Every table is in the garden's time zone."""

    def __init__(self, home: Path, now: Moment | None = None) -> None:
        self._settings = load(home)
        self._store = Store.open(self._settings.store_url)
        with self._store.read() as tx:
            found = garden_store.the_garden(tx)
        if found is None:
            self._store.close()
            raise UsageError(f"There is no garden in {home} yet; make one with: traywarden garden set NAME")
        self._garden = found
        self.zone = ZoneInfo(found.time_zone)
        self._now_ms = time.time_ns() // 1_000_000 if now is None else self._ms(now)

    def __enter__(self) -> "NotebookGarden":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        self._store.close()

    @property
    def name(self) -> str:
        return self._garden.name

    @property
    def trays(self) -> list[str]:
        with self._ground() as on:
            return [tray.name for tray in on.trays.values()]

    @property
    def places(self) -> list[str]:
        with self._ground() as on:
            return [place.name for place in on.places.values()]

    def readings(
        self, tray: str, start: Moment | None = None, end: Moment | None = None, *, faults: bool = False
    ) -> pd.DataFrame:
        """What the heads of a tray measured from start (inclusive) to end (exclusive).

        One row per head and instant, index `time` in the garden's zone; columns `head`, soil_temp_c,
        moisture_m3_m3, air_temp_c, rh_pct, rain_mm, battery_v, NaN where nothing was measured. Values left
        out of computation are NaN, and humidity is capped at 100; with `faults` they are as measured, and
        `flags` names what is wrong with a row. By default the last seven days.
        """
        with self._ground() as on:
            end_ms = on.now_ms + 1 if end is None else self._ms(end)
            start_ms = end_ms - 7 * DAY_MS if start is None else self._ms(start)
            tray_id = garden_store.tray_named(on.tx, tray).tray_id
            tables = [self._table(head, faults) for head in on.tray_series(tray_id, start_ms, end_ms)]
        if not tables:
            empty = pd.DatetimeIndex([], tz=self.zone, name="time")
            return pd.DataFrame(columns=["head", *SERIES_COLUMNS], index=empty)
        return pd.concat(tables).sort_index(kind="stable")

    def degree_days(
        self,
        tray: str,
        crop: str = "",
        *,
        base_c: float | None = None,
        start: Moment | None = None,
        end: Moment | None = None,
        method: str = "integral",
        cutoff: str = "none",
        upper_c: float | None = None,
    ) -> pd.DataFrame:
        """Degree-days of a tray by garden day: degree_days, sum_degree_days, extremes, coverage, reason.

        Crop and base as sown unless given; `attrs` holds base_c, base_source and total.
        """
        with self._ground() as on:
            answer = ask_degree_days(
                on,
                DegreeDaysAsked(
                    tray,
                    crop=crop,
                    base_c=base_c,
                    upper_c=upper_c,
                    start=self._day(start),
                    end=self._day(end),
                    method=method,
                    cutoff=cutoff,
                ),
            )
        table = rows(answer.days).set_index("date")
        table.attrs.update(base_c=answer.base_c, base_source=answer.base_source, total=answer.total)
        return table

    def waterings(self, tray: str = "", *, days: float = 30.0) -> pd.DataFrame:
        """Waterings of one tray or all: index `at`; tray, kind, rise_pct, known_from, reason …"""
        with self._ground() as on:
            answer = ask_waterings(on, tray, days)
        rows = [{"tray": each.tray, **asdict(event)} for each in answer.trays for event in each.events]
        return self._by_time(rows, "at")

    def dry_downs(self, *, mix: str = "", tray: str = "", days: float = 60.0) -> pd.DataFrame:
        """Dry-downs: index `start`; tray, mix, tau_days, rate_pct_per_day, r2, mean_vpd_kpa, reason …

        `attrs["mixes"]` is the table by mix, with medians and intervals.
        """
        with self._ground() as on:
            answer = ask_dry_down(on, mix=mix, tray=tray, days=days)
        table = self._by_time([asdict(stretch) for stretch in answer.stretches], "start")
        table.attrs["mixes"] = pd.json_normalize([asdict(each) for each in answer.mixes], sep="_").to_dict()
        return table

    def compare(
        self,
        a: str,
        b: str,
        *,
        start: Moment | None = None,
        end: Moment | None = None,
        crop: str = "",
        measured: str = "",
    ) -> pd.DataFrame:
        """Place a against place b by garden day; `attrs` holds the sentence and the mean difference."""
        with self._ground() as on:
            asked = CompareAsked(a, b, self._day(start), self._day(end), crop, measured)
            answer = ask_compare(on, asked)
        table = rows(answer.comparison.days).set_index("day")
        mean = answer.comparison.mean_difference_c
        table.attrs.update(
            sentence=answer.sentence,
            measured=answer.measured,
            mean_difference_c=mean.estimate,
            interval_c=(mean.low, mean.high),
        )
        return table

    def _table(self, head: HeadSeries, faults: bool) -> pd.DataFrame:
        index = pd.DatetimeIndex(pd.to_datetime(head.time_s * 1000, unit="ms", utc=True), name="time")
        columns = {name: head.values(name) if faults else head.clean(name) for name in SERIES_COLUMNS}
        table = pd.DataFrame({"head": head.label, **columns}, index=index.tz_convert(self.zone))
        if faults:
            together = [0] * len(table)
            for flags in head.flags.values():
                together = [a | b for a, b in zip(together, flags.tolist(), strict=True)]
            table["flags"] = [", ".join(flag_names(number)) for number in together]
        return table
