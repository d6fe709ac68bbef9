"""How batches came up, as tables."""

from dataclasses import asdict

import pandas as pd

from traywarden.notebook.asking import Asking, Moment, rows
from traywarden.services.questions.batch import ask_batch
from traywarden.services.questions.batches import ask_batches


class Batches(Asking):
    """Part of a notebook's garden."""

    def batch(self, tray: str, other: str = "") -> pd.DataFrame:
        """The counts of one batch, or of two to compare: index `at`; tray, day, newly_up, up, up_pct.

        A batch is named by its tray, or as “A1@2026-03-20” by a day it stood there. `attrs` holds `metrics`
        (every published figure, by tray), `sentences`, and of two `comparison`.
        """
        with self._ground() as on:
            answer = ask_batch(on, tray, other)
        cards = [card for card in (answer.first, answer.second) if card is not None]
        table = self._by_time(
            [{"tray": card.name, **asdict(row)} for card in cards for row in card.counts], "at"
        )
        table.attrs.update(
            metrics={card.name: asdict(card.metrics) if card.metrics else None for card in cards},
            sentences=[*answer.sentences, *(card.sentence for card in cards)],
            comparison=asdict(answer.comparison) if answer.comparison else None,
        )
        return table

    def batches(
        self, *, crop: str = "", by: str = "", start: Moment | None = None, end: Moment | None = None
    ) -> pd.DataFrame:
        """Every counted batch: index `tray`; crop, lot, place, mix, sown_at, seeds_sown, up, share …

        With `by` (place, mix, lot, cover or crop) `attrs["pairs"]` holds how the groups differ, by tray.
        """
        with self._ground() as on:
            answer = ask_batches(on, crop=crop, by=by, start=self._day(start), end=self._day(end))
        table = rows(answer.batches).set_index("tray")
        table["share_low"] = [None if b.share is None else b.share.low for b in answer.batches]
        table["share_high"] = [None if b.share is None else b.share.high for b in answer.batches]
        table["share"] = [None if b.share is None else b.share.estimate for b in answer.batches]
        table.attrs["pairs"] = [asdict(pair) for pair in answer.pairs]
        return table
