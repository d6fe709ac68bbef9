"""Charts about places: one against another, the mean day of each, and hours in range by month."""

from typing import Any

from traywarden.domain.units import Display, f_from_c
from traywarden.services.questions.compare import ask_compare
from traywarden.services.questions.germination_hours import ask_hours
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.picture import compare_picture
from traywarden.services.questions.place_picture import days_picture, months_picture
from traywarden.services.questions.places import ask_places
from traywarden.services.questions.rank import MONTHS
from traywarden.web.charts import Chart, Maker, Params
from traywarden.web.place_asked import compare_asked, places_asked


def compare_chart(on: Ground, params: Params) -> Chart:
    answer = ask_compare(on, compare_asked(on, params))
    found, show = answer.comparison, on.display
    degree = f"°{show.temperature}"
    heads = [f"{side} {what}, {degree}" for side in (found.a, found.b) for what in ("min", "mean", "max")]
    rows = []
    for day in found.days:
        sides = (day.a_min_c, day.a_mean_c, day.a_max_c, day.b_min_c, day.b_mean_c, day.b_max_c)
        difference = _difference(day.mean_difference_c, show)
        rows.append([day.day.isoformat(), *(_temp(t, show) for t in sides), difference, day.reason])
    columns = ["day", *heads, f"difference of means, {degree}", "why blank"]
    return Chart(compare_picture(answer, show), answer.sentence, columns, rows)


def days_chart(on: Ground, params: Params) -> Chart:
    answer = ask_places(on, places_asked(on, params))
    degree = f"°{on.display.temperature}"
    columns = ["hour of the day", *(f"{curve.place}, {degree}" for curve in answer.curves)]
    rows = [
        [hour, *(_temp(curve.temps_c[hour], on.display) for curve in answer.curves)] for hour in range(24)
    ]
    says = (
        f"The mean day of each place, hour by hour, over {answer.curve_days} days on which all were measured."
    )
    return Chart(days_picture(answer, on.display), says, columns, rows)


def months_chart(on: Ground, params: Params) -> Chart:
    crops = [params["crop"]] if params.get("crop") else []
    answer = ask_hours(on, crops, measured=params.get("measured", ""))
    rows = [
        [
            row.crop,
            f"{MONTHS[row.month - 1]} {row.year}",
            row.place,
            row.hours_h.estimate,
            row.hours_h.low,
            row.hours_h.high,
            row.days,
        ]
        for row in answer.months
    ]
    columns = ["crop", "month", "place", "hours a day in range", "from (95 %)", "to (95 %)", "days"]
    says = f"Hours a day in which {answer.measured} lets seed come up, by month and place."
    return Chart(months_picture(answer, on.display), says, columns, rows)


def _temp(temp_c: float | None, show: Display) -> Any:
    return None if temp_c is None else round(f_from_c(temp_c) if show.temperature == "F" else temp_c, 2)


def _difference(difference_c: float | None, show: Display) -> Any:
    return None if difference_c is None else round(difference_c * show.degrees_per_c, 2)


PLACE_CHARTS: dict[str, Maker] = {
    "compare": compare_chart,
    "place_days": days_chart,
    "place_months": months_chart,
}
