"""Places as pictures: the mean day of each, and hours in a crop's range by month."""

from calendar import month_abbr
from typing import Any

from traywarden.domain.clock_words import days_words
from traywarden.domain.units import Display, f_from_c
from traywarden.links.pictures import chart
from traywarden.services.questions.germination_hours import HoursAnswer
from traywarden.services.questions.places import PlacesAnswer


def days_picture(answer: PlacesAnswer, display: Display) -> dict[str, Any]:
    """A Vega-Lite spec of the mean day of every place, in the grower's degrees."""
    spec = chart("place_days")
    names = [curve.place for curve in answer.curves]
    rows = [
        {"place": curve.place, "hour": hour + 0.5, "temp": _temp(temp_c, display)}
        for curve in answer.curves
        for hour, temp_c in enumerate(curve.temps_c)
        if temp_c is not None
    ]
    spec["datasets"] = {"hours": rows, "labels": _labels(rows, names)}
    spec["title"]["text"] = f"The day in {len(names)} places" if len(names) > 1 else "The day in one place"
    spec["title"]["subtitle"] = (
        f"{answer.garden}, {answer.measured}, mean of {answer.curve_days} days on which all were measured, "
        f"{days_words(answer.first_day, answer.last_day)}"
    )
    line, text = spec["layer"]
    line["encoding"]["y"]["title"] = f"temperature (°{display.temperature})"
    line["encoding"]["color"]["scale"]["domain"] = names
    line["encoding"]["strokeDash"]["scale"]["domain"] = names
    text["encoding"]["color"]["scale"] = dict(line["encoding"]["color"]["scale"])
    return spec


def months_picture(answer: HoursAnswer, display: Display) -> dict[str, Any]:
    """A Vega-Lite spec of hours a day in range, by month and place, one panel for each crop."""
    spec = chart("place_months")
    places = list(dict.fromkeys(row.place for row in answer.months))
    ranges = dict(zip(answer.crops, answer.ranges_c, strict=True))
    spec["datasets"] = {
        "months": [
            {
                "crop": f"{row.crop}: {_range(ranges[row.crop], display)}",
                "place": row.place,
                "month": _month(row.year, row.month, answer),
                "hours": row.hours_h.estimate,
                "low": None if row.hours_h.low is None else max(row.hours_h.low, 0.0),
                "high": None if row.hours_h.high is None else min(row.hours_h.high, 24.0),
            }
            for row in sorted(answer.months, key=lambda r: (answer.crops.index(r.crop), r.year, r.month))
        ]
    }
    spec["title"]["text"] = "Hours a day in which seed can come up"
    spec["title"]["subtitle"] = (
        f"{answer.garden}, {answer.measured}; bars in the order of the legend, thin lines: 95 % interval"
    )
    for channel in ("xOffset", "color"):
        spec["spec"]["encoding"][channel]["scale"]["domain"] = places
    return spec


def _month(year: int, month: int, answer: HoursAnswer) -> str:
    one_year = len({row.year for row in answer.months}) == 1
    return month_abbr[month] if one_year else f"{month_abbr[month]} {year % 100:02d}"


def _range(span: tuple[float, float], display: Display) -> str:
    low, high = (display.temp(temp_c, 0) for temp_c in span)
    return f"{low.split(' ', maxsplit=1)[0]} to {high}"


def _temp(temp_c: float, display: Display) -> float:
    return round(f_from_c(temp_c) if display.temperature == "F" else temp_c, 2)


def _labels(rows: list[dict[str, Any]], names: list[str]) -> list[dict[str, Any]]:
    """A name at the end of each line; names that would lie on one another are moved apart."""
    last = [
        max((r for r in rows if r["place"] == name), key=lambda r: r["hour"], default=None) for name in names
    ]
    ends = sorted((row for row in last if row is not None), key=lambda row: row["temp"])
    if not ends:
        return []
    height = max(r["temp"] for r in rows) - min(r["temp"] for r in rows)
    least, below = max(height, 1.0) * 0.055, -1e9
    labels = []
    for row in ends:
        at = max(row["temp"], below + least)
        below = at
        labels.append({"place": row["place"], "hour": row["hour"], "at": round(at, 3)})
    return labels
