"""Moisture and mixes in a notebook."""

from dataclasses import asdict

import pandas as pd

from traywarden.notebook.asking import Asking
from traywarden.services.questions.mix_advice import ask_mix_advice
from traywarden.services.questions.mixes import ask_mix_compare
from traywarden.services.questions.moisture import DEFAULT_DAYS, ask_moisture
from traywarden.services.questions.soaked import ask_soaked


class MoistureTables(Asking):
    """How wet trays are, and what heads show of themselves."""

    def moisture(self, tray: str = "", *, days: float = DEFAULT_DAYS) -> pd.DataFrame:
        """One row per head, index `tray`: moisture_m3_m3, part (0 dry, 1 container capacity), level …

        `learned_…`, `drift_…` and `warmth_…` are what the record shows; `attrs["mixes"]` is the container
        capacity by mix, set and shown.
        """
        with self._ground() as on:
            answer = ask_moisture(on, tray, days)
        rows = [
            {"tray": each.tray, "place": each.place, "mix": each.mix, **asdict(head)}
            for each in answer.trays
            for head in each.heads
        ]
        table = pd.json_normalize(rows, sep="_")
        table.attrs["mixes"] = [asdict(mix) for mix in answer.mixes]
        return table.set_index("tray") if rows else table

    def compare_mixes(self, a: str, b: str, *, days: float = DEFAULT_DAYS) -> pd.DataFrame:
        """Two rows, index `mix`: stretches, trays, loss_pct_per_day, soaked_h with its interval.

        `attrs` holds the sentence, how many times as fast a dries as b, its interval, and the days both had.
        """
        with self._ground() as on:
            answer = ask_mix_compare(on, a, b, days)
        table = pd.DataFrame([asdict(answer.a), asdict(answer.b)]).set_index("mix")
        found = answer.comparison
        table.attrs.update(
            sentence=answer.sentence,
            ratio=found.ratio,
            interval=(found.low, found.high),
            allowed_for=found.allowed_for,
            side_by_side=asdict(answer.side_by_side),
        )
        return table

    def soaked(self, mix: str = "", *, days: float = DEFAULT_DAYS) -> pd.DataFrame:
        """One row per watering: mix, tray, place, at, soaked_h, ended (False: at least so long).

        `attrs` holds the sentence and, by mix, the medians with their intervals.
        """
        with self._ground() as on:
            answer = ask_soaked(on, mix, days)
        table = pd.DataFrame([asdict(row) for row in answer.waterings])
        table.attrs.update(sentence=answer.sentence, mixes=[asdict(each) for each in answer.mixes])
        return table

    def mix_advice(self, mix: str = "", *, days: float = DEFAULT_DAYS) -> pd.DataFrame:
        """One row per mix and weather (cool, hot): finding, median_h, low_h, high_h, limit_h, advice …"""
        with self._ground() as on:
            answer = ask_mix_advice(on, mix, days)
        table = pd.DataFrame([asdict(line) for line in answer.lines])
        table.attrs["sentence"] = answer.sentence
        return table
