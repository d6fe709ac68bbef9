"""Whether readings are to be trusted, as a table."""

from dataclasses import asdict

import pandas as pd

from traywarden.notebook.asking import Asking
from traywarden.services.questions.quality import ask_quality


class Quality(Asking):
    """Troubles of heads."""

    def troubles(self, tray: str = "", *, days: float = 14.0) -> pd.DataFrame:
        """Troubles of one tray's heads, or of all: index `start`; head, place, fault, code, reason, do …

        `attrs["heads"]` counts each head's readings by QARTOD code and says what was not judged.
        """
        with self._ground() as on:
            answer = ask_quality(on, tray, days)
        table = self._by_time([asdict(trouble) for trouble in answer.troubles], "start")
        table.attrs["heads"] = [asdict(head) for head in answer.heads]
        return table
