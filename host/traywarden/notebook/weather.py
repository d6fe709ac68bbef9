"""Temperature outlook and sowing plans in a notebook."""

from collections.abc import Sequence
from dataclasses import asdict

import pandas as pd

from traywarden.notebook.asking import Asking, Moment
from traywarden.services.questions.place_backtest import backtest_places
from traywarden.services.questions.place_outlook import ask_place_outlook
from traywarden.services.questions.plan import PlanAsked, ask_plan, ask_warm


class WeatherTables(Asking):
    """Tonight and tomorrow by place, the hours until then, how well that did, and when to sow."""

    def tonight(self) -> pd.DataFrame:
        """Tonight's low and tomorrow's high by place and side (air, soil).

        Columns estimate_c, low_c, high_c, calibrated, errors, held, basis, reason; `attrs` holds the
        sentence, the night and the day.
        """
        with self._ground() as on:
            answer = ask_place_outlook(on)
        rows = [
            {"place": place.place, "measured": side.measured, "what": what, **asdict(found)}
            for place in answer.places
            for side in (place.air, place.soil)
            for what, found in (("tonight's low", side.low), ("tomorrow's high", side.high))
            if found is not None
        ]
        table = pd.DataFrame(rows)
        table.attrs.update(sentence=answer.sentence, night=answer.night, day=answer.day)
        return table

    def coming_hours(self, place: str, measured: str = "soil") -> pd.DataFrame:
        """The next 48 hours of a place's soil or air: index `at`; low_c, median_c, high_c (80 %)."""
        with self._ground() as on:
            answer = ask_place_outlook(on)
        sides = [getattr(p, measured) for p in answer.places if p.place.casefold() == place.casefold()]
        return self._by_time([asdict(hour) for side in sides for hour in side.hours], "at")

    def backtest_tonight(self) -> pd.DataFrame:
        """How often the intervals of past evenings held what came, by place, side and what."""
        with self._ground() as on:
            return pd.DataFrame([asdict(row) for row in backtest_places(on)])

    def warm_days(self, crop: str, place: str) -> pd.DataFrame:
        """Chance by day of the year that soil is warm enough to sow: index `day`; chance, low, high."""
        with self._ground() as on:
            answer = ask_warm(on, crop, place)
        table = pd.DataFrame([asdict(row) for row in answer.chances]).set_index("day")
        table.attrs.update(sentence=answer.sentence, limits=answer.limits, years=answer.years)
        return table

    def plan(self, wanted: Sequence[tuple[str, str, Moment]]) -> pd.DataFrame:
        """When to sow: `wanted` are (crop, place, day of planting out); one row each, by sowing day."""
        asked = [PlanAsked(crop, place, day) for crop, place, out in wanted if (day := self._day(out))]
        with self._ground() as on:
            season = ask_plan(on, asked)
        table = pd.DataFrame(
            [
                {
                    "crop": plan.crop,
                    "place": plan.place,
                    "sow": plan.sow.usual if plan.sow else None,
                    "sow_early": plan.sow.early if plan.sow else None,
                    "sow_late": plan.sow.late if plan.sow else None,
                    "emerge": plan.emerge.usual if plan.emerge else None,
                    "plants_out": plan.plants_out,
                    "warm_at_sowing": plan.warm_at_sowing.chance if plan.warm_at_sowing else None,
                    "years": plan.years,
                    "advice": plan.advice,
                    "reason": plan.reason,
                }
                for plan in season.plans
            ]
        )
        table.attrs["sentence"] = season.sentence
        return table
