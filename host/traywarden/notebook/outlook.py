"""What will be: when trays are dry, and how good such outlooks were."""

from dataclasses import asdict

import pandas as pd

from traywarden.notebook.asking import Asking
from traywarden.services.questions.backtest import ask_backtest
from traywarden.services.questions.outlook import ask_outlook
from traywarden.services.sky import air_forecast

_TIMES = ("by", "earliest", "latest")


class OutlookTables(Asking):
    """The outlook on drying and its back-test as tables."""

    def outlook(self, tray: str = "") -> pd.DataFrame:
        """When trays are at their dry line, by tray, the first to be dry first; `why` where none is known.

        A forecast that was read in drives it. With one tray named, `attrs["path"]` is the way there: moisture
        in % of container capacity, when it is foreseen, and the 80 % interval.
        """
        with self._ground() as on:
            answer = ask_outlook(on, tray, air_forecast(on))
        table = pd.DataFrame([asdict(found) for found in answer.trays]).set_index("tray")
        for name in _TIMES:
            table[name] = self._times(table[name])
        table.attrs["at"] = answer.at
        if tray:
            path = pd.DataFrame([asdict(point) for point in answer.trays[0].path])
            for name in (n for n in ("at", "earliest", "latest") if n in path):
                path[name] = self._times(path[name])
            table.attrs["path"] = path
        return table.drop(columns=["path", "measured"])

    def backtest(self, tray: str = "", days: float = 120.0) -> pd.DataFrame:
        """How good the outlook was: one row for each tray and “all trays”, asked every six hours.

        `attrs["day_before"]` is the same asked one day before, `attrs["sentence"]` says it in one.
        """
        with self._ground() as on:
            answer = ask_backtest(on, tray, days)
        every = {"all trays": (answer.rolling, answer.day_before)}
        every |= {found.tray: (found.rolling, found.day_before) for found in answer.trays}
        rolling, before = (
            pd.DataFrame({name: asdict(scores[n]) for name, scores in every.items()}).T.rename_axis("tray")
            for n in (0, 1)
        )
        rolling.attrs.update(sentence=answer.sentence, day_before=before)
        return rolling

    def _times(self, column: "pd.Series[pd.Timestamp]") -> "pd.Series[pd.Timestamp]":
        return pd.to_datetime(column, utc=True).dt.tz_convert(self.zone)
