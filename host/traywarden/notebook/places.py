"""Places and levels as tables: side by side, ranked, hours in range, a frame's openings, hardening, level."""

from dataclasses import asdict

import pandas as pd

from traywarden.notebook.asking import Asking, Moment, rows
from traywarden.services.questions.frame import FrameAsked, ask_frame
from traywarden.services.questions.germination_hours import ask_hours
from traywarden.services.questions.harden import HardenAsked, ask_harden
from traywarden.services.questions.level import ask_level
from traywarden.services.questions.places import PlacesAsked, ask_places
from traywarden.services.questions.places_now import ask_places_now
from traywarden.services.questions.rank import RankAsked, ask_rank


class Places(Asking):
    """Tables about places."""

    def places_now(self) -> pd.DataFrame:
        """Every place: kind, covered, trays, and of its `air_…` and `soil_…` temp_c, low_c, high_c, reason.

        `low_c` and `high_c` are of the garden's day so far; `attrs` holds the sentence.
        """
        with self._ground() as on:
            answer = ask_places_now(on)
        table = pd.json_normalize([asdict(place) for place in answer.places], sep="_").set_index("place")
        table.attrs["sentence"] = answer.sentence
        return table

    def compare_places(
        self,
        *,
        start: Moment | None = None,
        end: Moment | None = None,
        measured: str = "",
        against: str = "",
    ) -> pd.DataFrame:
        """Every place: means and their differences to the open one, as estimate, low and high.

        Columns such as `mean_low_c_estimate` and `difference_half_warm_h_low`; `attrs` holds `sentence`,
        `against`, `measured` and `drying`, the ratios of drying power.
        """
        with self._ground() as on:
            asked = PlacesAsked(self._day(start), self._day(end), measured, against)
            answer = ask_places(on, asked)
        table = pd.json_normalize([asdict(place) for place in answer.places], sep="_").set_index("name")
        table = table[
            [
                name
                for name in table.columns
                if name.endswith(("days", "_common", "_estimate", "_low", "_high"))
            ]
        ]
        table.attrs.update(
            sentence=answer.sentence,
            against=answer.against,
            measured=answer.measured,
            drying=[asdict(each) for each in answer.drying],
        )
        return table

    def rank_places(
        self, crop: str, *, month: int | None = None, measured: str = "", best: bool = False
    ) -> pd.DataFrame:
        """Places for a crop and month: index `place`; rank, hours a day with its ends; `attrs` sentence."""
        with self._ground() as on:
            answer = ask_rank(on, RankAsked(crop, month, measured, best))
        table = pd.DataFrame(
            [
                {
                    "place": place.name,
                    "rank": place.rank,
                    "hours_h": place.hours_h.estimate,
                    "low_h": place.hours_h.low,
                    "high_h": place.hours_h.high,
                }
                for place in answer.ranking.ranked
            ],
            columns=["place", "rank", "hours_h", "low_h", "high_h"],
        ).set_index("place")
        table.attrs.update(
            sentence=answer.sentence,
            days=answer.ranking.days,
            pairs=[asdict(pair) for pair in answer.ranking.pairs],
            remarks=list(answer.remarks),
        )
        return table

    def germination_hours(
        self,
        *crops: str,
        measured: str = "",
        start: Moment | None = None,
        end: Moment | None = None,
    ) -> pd.DataFrame:
        """Hours a day in range by crop, place and month: hours_h, low_h, high_h, best_h, days."""
        with self._ground() as on:
            answer = ask_hours(on, crops, measured=measured, start=self._day(start), end=self._day(end))
        return pd.DataFrame(
            [
                {
                    "crop": row.crop,
                    "place": row.place,
                    "month": f"{row.year}-{row.month:02d}",
                    "hours_h": row.hours_h.estimate,
                    "low_h": row.hours_h.low,
                    "high_h": row.hours_h.high,
                    "best_h": row.best_h.estimate if row.best_h else None,
                    "days": row.days,
                }
                for row in answer.months
            ]
        ).set_index(["crop", "place", "month"])

    def frame_openings(
        self,
        frame: str,
        *,
        against: str = "",
        start: Moment | None = None,
        end: Moment | None = None,
    ) -> pd.DataFrame:
        """Openings of a frame: index `opened`; closed, temperatures, known_from; `attrs` its gain."""
        with self._ground() as on:
            answer = ask_frame(on, FrameAsked(frame, against, self._day(start), self._day(end)))
        table = self._by_time([asdict(row) for row in answer.openings], "opened")
        if "closed" in table:
            table["closed"] = pd.to_datetime(table["closed"], utc=True).dt.tz_convert(self.zone)
        table.attrs.update(
            sentence=answer.sentence,
            night_c=asdict(answer.gain.night_difference_c),
            day_c=asdict(answer.gain.day_difference_c),
            hot_h=answer.hot_h,
            verdict=answer.work.verdict,
            days=asdict(answer.work.days),
        )
        return table

    def hardening(self, subject: str, *, against: str = "", crop: str = "", days: int = 14) -> pd.DataFrame:
        """Days of a tray or place beside the open bed's; `attrs` holds sentence, need and differences."""
        with self._ground() as on:
            answer = ask_harden(on, HardenAsked(subject, against, crop, days))
        found = answer.hardening
        table = rows(found.days).set_index("day")
        table.attrs.update(
            sentence=answer.sentence,
            need=found.need,
            nights=list(answer.nights),
            low_difference_c=asdict(found.low_difference_c),
            demand_part=asdict(found.demand_part),
        )
        return table

    def level(self, tray: str = "", *, days: float = 60.0) -> pd.DataFrame:
        """Pairs of heads or trays: index `subject`; a, b, verdict, drier, difference, signs, sentence."""
        with self._ground() as on:
            answer = ask_level(on, tray, days)
        return pd.DataFrame(
            [
                {
                    "subject": pair.subject,
                    "compared": pair.compared,
                    "a": pair.level.a.where,
                    "b": pair.level.b.where,
                    "verdict": str(pair.level.verdict),
                    "drier": pair.level.drier.where if pair.level.drier else "",
                    "a_less_b_pct": pair.level.a_less_b_pct.estimate,
                    "low_pct": pair.level.a_less_b_pct.low,
                    "high_pct": pair.level.a_less_b_pct.high,
                    "waterings": pair.level.waterings,
                    "from_above": pair.level.from_above,
                    "sentence": pair.sentence,
                }
                for pair in answer.pairs
            ]
        ).set_index("subject")
