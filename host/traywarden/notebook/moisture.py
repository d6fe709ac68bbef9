"""Moisture and mixes in a notebook."""

from dataclasses import asdict

import pandas as pd

from traywarden.notebook.asking import Asking
from traywarden.services.questions.moisture import DEFAULT_DAYS, ask_moisture


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
