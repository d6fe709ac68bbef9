"""How many seeds to sow, as a table."""

from dataclasses import asdict
from typing import Any

import pandas as pd

from traywarden.notebook.asking import Asking, rows
from traywarden.services.questions.seeds import SeedsAsked, ask_seeds


class Sowing(Asking):
    """Part of a notebook's garden."""

    def seeds(self, what: str, **asked: Any) -> pd.DataFrame:
        """A lot or a crop: index `per_cell`; cells, seeds, filled_middle, wanted_chance, price …

        Asked for with plants, cells, tray, place, fill, certain, gain, most, soil_temp_c, seed_price,
        cell_price, hour_price, thin_s. `attrs`: `sentence`, `advice`, `chosen` (in each of `cells`),
        `germination`, `place_share`, `comes_up`, `narrower`, `evidence`.
        """
        with self._ground() as on:
            answer = ask_seeds(on, SeedsAsked(what, **asked))
        table = rows(answer.plan.rows).set_index("per_cell")
        table.attrs.update(
            sentence=answer.sentence,
            advice=list(answer.advice),
            chosen=answer.chosen,
            cells=answer.cells,
            germination=asdict(answer.germination),
            place_share=asdict(answer.place_share),
            comes_up=asdict(answer.comes_up),
            narrower=[asdict(each) for each in answer.narrower],
            evidence=[told.says for told in answer.evidence],
        )
        return table
