"""Emergence in a notebook: progress and expected days of every tray, and what was learned."""

import pandas as pd

from traywarden.notebook.asking import Asking
from traywarden.services.questions.emergence import ask_emergence
from traywarden.services.questions.learned import ask_learned


class Emergence(Asking):
    """Tables about seed that is coming up."""

    def emergence(self, tray: str = "") -> pd.DataFrame:
        """One row per tray: state, done (fraction of the way to half up) and the expected days with bands.

        Columns first_low, first_expected, first_high, half_… are times in the garden's zone; done_low …,
        factor_low …; cold_h, hot_h, coverage, says. `attrs["causes"]` has the causes of each late tray.
        """
        with self._ground() as on:
            answer = ask_emergence(on, tray)
        rows, causes = [], {}
        for each in answer.trays:
            row = {
                name: getattr(each, name)
                for name in ("tray", "place", "state", "crop", "lot", "sown", "up_since", "up_count")
            }
            for name in ("done", "first", "half", "factor"):
                band = getattr(each, name)
                for part in ("low", "expected", "high"):
                    row[f"{name}_{part}"] = getattr(band, part) if band is not None else None
            row |= {n: getattr(each, n) for n in ("coverage", "mean_c", "cold_h", "hot_h", "basis", "says")}
            rows.append(row)
            if each.causes:
                causes[each.tray] = [(why.cause, why.verdict, why.says) for why in each.causes]
        table = pd.DataFrame(rows).set_index("tray")
        for name in table.columns:
            if name in ("sown", "up_since") or name.startswith(("first_", "half_")):
                table[name] = pd.to_datetime(table[name], utc=True).dt.tz_convert(self.zone)
        table.attrs["causes"] = causes
        return table

    def learned(self, crop: str = "") -> pd.DataFrame:
        """One row per crop and lot (lot empty: any): factor before and after, with 80 % bands."""
        with self._ground() as on:
            answer = ask_learned(on, crop)
        rows = []
        for each in answer.crops:
            shown = [("", each.after), *((lot.lot, lot.factor) for lot in each.lots)]
            for lot, factor in shown:
                rows.append(
                    {
                        "crop": each.crop,
                        "lot": lot,
                        "before": each.before.expected,
                        "before_low": each.before.low,
                        "before_high": each.before.high,
                        "factor": factor.expected,
                        "low": factor.low,
                        "high": factor.high,
                        "taught_by": each.taught_by,
                    }
                )
        columns = ["crop", "lot", "before", "before_low", "before_high", "factor", "low", "high", "taught_by"]
        return pd.DataFrame(rows, columns=columns).set_index(["crop", "lot"])
