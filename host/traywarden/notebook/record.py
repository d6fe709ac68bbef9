"""What one tray went through, in a notebook."""

from dataclasses import asdict

import pandas as pd

from traywarden.notebook.asking import Asking
from traywarden.services.questions.tray_record import ask_tray_record


class Records(Asking):
    """A tray on one time axis, as `traywarden record` has it."""

    def record(self, tray: str, *, days: float = 7.0) -> pd.DataFrame:
        """One row per drawn reading: measured (moisture, soil or air), of (head or place), stretch, value.

        `value` is % of container capacity or °C; readings of one `stretch` have no gap between them, and a
        long line is thinned for drawing with its extremes kept. `attrs` holds the rest of the record:
        `lines` (readings, low and high of each line), `waterings`, `journal`, `dry_downs`, `held`, `limits`,
        `nights`, `outlook`, `remarks`.
        """
        with self._ground() as on:
            found = ask_tray_record(on, tray, days)
        lines = [
            (name, line)
            for name, group in (("moisture", found.moisture), ("soil", found.soil), ("air", found.air))
            for line in group
        ]
        table = self._by_time(
            [
                {"at": point.at, "measured": name, "of": line.of, "stretch": number, "value": point.value}
                for name, line in lines
                for number, stretch in enumerate(line.stretches, 1)
                for point in stretch
            ],
            "at",
        )
        whole = asdict(found)
        table.attrs.update({name: whole[name] for name in whole if name not in ("moisture", "soil", "air")})
        table.attrs["lines"] = [
            {"measured": name, "of": line.of, "readings": line.readings, "low": line.low, "high": line.high}
            for name, line in lines
        ]
        return table
