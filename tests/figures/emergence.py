"""Emergence against the published days, against germination at constant and alternating temperatures, and on
soil temperatures of a year."""

import csv
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import minimize
from scipy.special import ndtr, ndtri

from tests.figures import emergence_band, records, sown_again
from tests.shared_data import reference_file, shared_file
from traywarden.domain.crops import Crop
from traywarden.domain.development import RateCurve, between_tested, curve_for
from traywarden.domain.heat_sums import fitted_heat_sum
from traywarden.domain.temperature_outlook import own_days
from traywarden.errors import ShortOfDataError
from traywarden.store.crops import load_crops

Floats = NDArray[np.float64]
Interpolation = Callable[[Floats, Floats, float], float]


def verified_tables() -> dict[str, tuple[Floats, Floats]]:
    """Temperatures and days of every crop whose row was seen in its source."""
    found = {}
    with reference_file("days_to_emergence.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            if row["verified"] == "yes":
                cells = [
                    (float(name.rpartition("_")[2].removesuffix("C")), float(text))
                    for name, text in row.items()
                    if name.startswith("d_") and text not in ("", "NG")
                ]
                temps, days = (np.array(column) for column in zip(*cells, strict=True))
                found[row["crop"]] = (temps, days)
    return found


def ours(temps: Floats, days: Floats, at_c: float) -> float:
    return float(1.0 / between_tested(temps, days, np.array([at_c]))[0])


OTHER_WAYS: dict[str, Interpolation] = {
    "rates, PCHIP": lambda t, d, x: 1.0 / float(PchipInterpolator(t, 1.0 / d)(x)),
    "rates, straight": lambda t, d, x: 1.0 / float(np.interp(x, t, 1.0 / d)),
    "ln days, PCHIP": lambda t, d, x: float(np.exp(PchipInterpolator(t, np.log(d))(x))),
    "root of rates, PCHIP": lambda t, d, x: float(PchipInterpolator(t, d**-0.5)(x)) ** -2,
    "days, straight": lambda t, d, x: float(np.interp(x, t, d)),
}


def leave_one_out(way: Interpolation = ours) -> list[tuple[str, float, float, float]]:
    """(crop, temperature, printed days, days from its neighbours) of every cell between two others."""
    found = []
    for crop, (temps, days) in verified_tables().items():
        for i in range(1, temps.size - 1):
            kept = np.arange(temps.size) != i
            found.append(
                (crop, float(temps[i]), float(days[i]), way(temps[kept], days[kept], float(temps[i])))
            )
    return found


def misses(found: list[tuple[str, float, float, float]]) -> Floats:
    """ln(foretold / printed)."""
    return np.array([np.log(told / days) for _, _, days, told in found])


def median_pct(log_misses: Floats) -> float:
    return float(np.median(np.abs(np.expm1(log_misses))) * 100)


def rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def without(crop: Crop, temps: list[float]) -> RateCurve:
    """The crop's curve with some temperatures of its table left out, and no limits."""
    days = tuple((t, d) for t, d in crop.days_to_emergence if t not in temps and d is not None)
    return curve_for(Crop(crop.key, crop.name, days_to_emergence=days))


def beyond_tested() -> tuple[Floats, Floats]:
    """ln misses when the coldest, or the warmest, tested temperature is left out."""
    cold: list[float] = []
    warm: list[float] = []
    for key, (temps, days) in verified_tables().items():
        if temps.size < 4:
            continue
        crop = load_crops()[key]
        for i, into in ((0, cold), (-1, warm)):
            if temps[i] < 5.0:
                continue  # at 0 °C the line through its neighbours may have reached zero
            rate = without(crop, [float(temps[i])]).rate_per_d(temps[[i]])[0]
            if rate > 0:
                into.append(float(np.log(1.0 / rate / days[i])))
    return np.array(cold), np.array(warm)


def borrowed_shape() -> dict[float, Floats]:
    """ln misses at 10, 15 and 30 °C if of the vegetables only their days at 20 to 25 °C were known."""
    found: dict[float, list[float]] = {10.0: [], 15.0: [], 30.0: []}
    for key, (temps, days) in verified_tables().items():
        known = dict(zip(temps.tolist(), days.tolist(), strict=True))
        if not {20.0, 25.0} & known.keys():
            continue
        middle = float(np.exp(np.mean([np.log(known[t]) for t in (20.0, 25.0) if t in known])))
        curve = curve_for(Crop(key, key, opt_low_c=22.5, opt_high_c=22.5, days_in_range=(middle, middle)))
        for at_c, into in found.items():
            if at_c in known:
                into.append(float(np.log(1.0 / curve.rate_per_d(np.array([at_c]))[0] / known[at_c])))
    return {at_c: np.array(values) for at_c, values in found.items()}


def straight_lines() -> Floats:
    """ln misses of each crop's own straight line, at the temperatures it was drawn through."""
    found = []
    for key, (temps, days) in verified_tables().items():
        line = fitted_heat_sum(load_crops()[key])
        if line is None:
            continue
        for t, d in zip(temps, days, strict=True):
            if line.base_c + 1.0 < t <= min(25.0, float(temps[np.argmin(days)])):
                found.append(float(np.log(line.sum_c_days / (t - line.base_c) / d)))
    return np.array(found)


def all_days() -> Floats:
    """Days at about 20 °C of every crop with published days: of the table, or the middle of its range."""
    found = [dict(zip(t.tolist(), d.tolist(), strict=True)).get(20.0) for t, d in verified_tables().values()]
    ranges = [c.days_in_range for c in load_crops().values() if c.days_in_range]
    return np.array([d for d in found if d] + [(low * high) ** 0.5 for low, high in ranges])


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of the gradient plate: 10 seeds; half-time and log spread of those that germinated."""

    day_c: float
    night_c: float
    germinated: int
    half_d: float
    log_sd: float

    @property
    def constant(self) -> bool:
        return self.day_c - self.night_c < 2.5


def gradient_plate() -> list[Cell]:
    table = pd.read_csv(shared_file("germination_thermogradient.csv"))
    cells = []
    for _, rows in table.groupby(["cell_x", "cell_y"]):
        ordered = rows.sort_values("day")
        counts, days = ordered["c_germinated"].to_numpy(float), ordered["day"].to_numpy(float)
        half, spread = _half(days, counts) if counts.max() >= 3 else (np.nan, np.nan)
        cells.append(
            Cell(
                float(ordered["day_temp"].iloc[0]),
                float(ordered["night_temp"].iloc[0]),
                int(counts.max()),
                half,
                spread,
            )
        )
    return cells


def _half(days: Floats, counts: Floats) -> tuple[float, float]:
    """Median and log spread of a log-normal, by the likelihood of counts between two checks."""
    new = np.diff(counts)

    def lost(parameters: Floats) -> float:
        by = np.concatenate([[0.0], ndtr((np.log(days[1:]) - parameters[0]) / np.exp(parameters[1]))])
        chance = np.maximum(np.diff(by) / max(by[-1], 1e-12), 1e-12)
        return float(-(new * np.log(chance)).sum() + 2.0 * (parameters[1] - np.log(0.3)) ** 2)

    start = [np.log(np.average(days[1:], weights=new + 1e-9)), np.log(0.3)]
    found = minimize(lost, start, method="Nelder-Mead").x
    return float(np.exp(found[0])), float(np.exp(found[1]))


def plate_crop(cells: list[Cell]) -> Crop:
    """A crop from the constant cells alone: half-times where three or more germinated, else none up."""
    constant = sorted((c for c in cells if c.constant), key=lambda c: c.day_c + c.night_c)
    days = tuple(
        ((c.day_c + c.night_c) / 2, None if np.isnan(c.half_d) else c.half_d)
        for c in constant
        if c.germinated != 1  # one seed in ten says neither yes nor no
    )
    return Crop("plate", "plate", days_to_emergence=days)


def alternating() -> list[tuple[Cell, float]]:
    """Every alternating cell with the half-time the rate sum foretells [d]: twelve hours of each."""
    cells = gradient_plate()
    curve = curve_for(plate_crop(cells))
    found = []
    for cell in cells:
        if not cell.constant:
            rate = curve.rate_per_d(np.array([cell.day_c, cell.night_c])).mean()
            found.append((cell, float(1.0 / rate) if rate > 0 else np.inf))
    return found


def hours_of(record: records.Record) -> tuple[Floats, Floats]:
    """Hourly means, NaN where nothing was measured."""
    hour = (record.time_s // 3600).astype(np.int64)
    first, count = int(hour[0]), int(hour[-1] - hour[0]) + 1
    known = np.isfinite(record.soil_temp_c)
    number = np.bincount(hour[known] - first, minlength=count)
    total = np.bincount(hour[known] - first, record.soil_temp_c[known], count)
    means = np.where(number > 0, total / np.maximum(number, 1), np.nan)
    return np.asarray(3600.0 * (first + np.arange(count)), np.float64), np.asarray(means, np.float64)


OUTLOOK_CROPS = ("tomato", "lettuce", "cabbage", "onion")


def outlook(record: records.Record, first_day: int, last_day: int) -> Floats:
    """Rows of (true days, low, middle, high) from the temperature outlook alone, sown every fifth day."""
    time_s, temp_c = hours_of(record)
    known = np.isfinite(temp_c)
    bridged = np.interp(time_s, time_s[known], temp_c[known])
    rows = []
    for key in OUTLOOK_CROPS:
        curve = curve_for(load_crops()[key])
        rates = curve.rate_per_d(bridged) / 24.0
        for day in range(first_day, last_day, 5):
            at = day * 24 + 14
            truth = int(np.searchsorted(np.cumsum(rates[at:]), 1.0))
            if truth > 24 * 45:
                continue
            try:
                ahead = own_days(time_s[:at], temp_c[:at], float(time_s[at]), 24 * 45)
            except ShortOfDataError:  # the last day was not measured
                continue
            sums = np.cumsum(curve.rate_per_d(ahead.members_c) / 24.0, axis=1)
            days = np.array([np.searchsorted(member, 1.0) for member in sums]) / 24.0
            rows.append((truth / 24.0, *np.quantile(days, [0.1, 0.5, 0.9])))
    return np.array(rows)


def covered(rows: Floats) -> float:
    return float(((rows[:, 0] >= rows[:, 1]) & (rows[:, 0] <= rows[:, 3])).mean())


# Hours to 10, 50 and 90 % germination of 96 tomato seeds in water, read from the counts in
# data-raw/sample-germ-data.csv of the public repository pedrobello/pbtm.
TOMATO_H = {15.0: (102.5, 126.5, 152.0), 20.0: (73.3, 87.8, 101.8), 25.0: (50.9, 67.6, 80.9)}


def seed_spreads() -> dict[str, float]:
    """Log spread among seeds wherever it was published, from the times to 10 and 90 %."""
    found = {f"tomato at {t:.0f} °C": _spread(low, high) for t, (low, _, high) in TOMATO_H.items()}
    found["example of germinationmetrics"] = _spread(4.83180738, 7.53768963)
    found["example of SeedCalc"] = _spread(3 + 1 / 11, 7 + 0 / 5)
    plate = [cell.log_sd for cell in gradient_plate() if cell.germinated >= 5]
    found[f"gradient plate, {len(plate)} cells of 10, median"] = float(np.median(plate))
    return found


def _spread(low: float, high: float) -> float:
    return float(np.log(high / low) / (2.0 * ndtri(0.9)))


def published_sums() -> list[tuple[str, float, float, str]]:
    """(what, °C, days by a published heat sum, days by our curve) where a sum was seen in a source."""
    curves = {key: curve_for(crop) for key, crop in load_crops().items()}
    rows = []
    for key, base_c, sum_c_days, span, source in PUBLISHED_SUMS:
        for at_c in span:
            own = float(1.0 / curves[key].rate_per_d(np.array([at_c]))[0])
            rows.append((f"{key} at {at_c:g} °C ({source})", sum_c_days / (at_c - base_c), own, source))
    return [(what, told, own, source) for what, told, own, source in rows]


PUBLISHED_SUMS = (
    ("onion", 2.5, 80.0, (10.0, 15.0, 22.5), "to half germination; Harrington 1962 in Brewster"),
    ("pea", -0.98, 51.25, (10.0, 15.0, 20.0), "to half germination; field pea 2025, abstract"),
    ("cucumber", 12.2222, 107.7778, (15.0, 20.0, 25.0), "Taylor 1997 in Maynard 2007"),
    ("muskmelon", 12.2222, 107.7778, (20.0, 25.0), "Taylor 1997 in Maynard 2007"),
    ("squash", 12.0, 88.2, (20.0, 25.0), "to emergence in the field; Souza 2017"),
)


def _miss(off: Floats) -> str:
    return f"median miss {median_pct(off):.1f} %, log RMS {rms(off):.3f}"


def lines() -> Iterator[str]:
    ours_off = misses(leave_one_out())
    yield "Days to emergence, one temperature left out at a time"
    yield f"  {ours_off.size} cells; ours: {_miss(ours_off)}"
    for name, way in OTHER_WAYS.items():
        off = misses(leave_one_out(way))
        yield f"  {name}: {_miss(off)}"
    whole = np.array([abs(told - days) for _, _, days, told in leave_one_out()])
    yield f"  within a day: {np.mean(whole <= 1.0) * 100:.0f} % of cells (the table is in whole days)"
    cold, warm = beyond_tested()
    yield f"Coldest left out: {cold.size} crops, log RMS {rms(cold):.2f}"
    yield f"Warmest left out: {warm.size} crops, log RMS {rms(warm):.2f}"
    for at_c, off in borrowed_shape().items():
        yield f"Borrowed shape at {at_c:.0f} °C: {off.size} crops, log RMS {rms(off):.2f}"
    line_off = straight_lines()
    yield f"Straight heat sum on its own table: {_miss(line_off)}"
    logs = np.log(all_days())
    yield f"Days of all {logs.size} crops: {np.exp(logs.mean()):.1f}, log SD {logs.std():.2f}"
    yield "Spread among seeds (log SD)"
    for name, spread in seed_spreads().items():
        yield f"  {name}: {spread:.2f}"
    yield "Published heat sums against our curve, days"
    for what, told, own, _ in published_sums():
        yield f"  {what}: {told:.1f} against {own:.1f}"
    yield from _plate_lines()
    yield "Temperature outlook alone, 80 % band"
    for name, record, first, last in (
        ("Bondville, 2 cm", records.bondville(), 80, 300),
        ("Ford Dry Lake", records.ford_dry_lake(), 20, 310),
    ):
        rows = outlook(record, first, last)
        off = np.log(rows[:, 2] / rows[:, 0])
        yield f"  {name}: {len(rows)} sowings, holds {covered(rows) * 100:.0f} %; {_miss(off)}"
    yield from emergence_band.lines()
    yield from sown_again.lines()


def _plate_lines() -> Iterator[str]:
    found = alternating()
    curve = curve_for(plate_crop(gradient_plate()))
    yield f"Gradient plate: curve of constant cells, {curve.sure_from_c:.0f} to {curve.sure_to_c:.0f} °C"
    told = [(c, d) for c, d in found if not np.isnan(c.half_d) and np.isfinite(d)]
    off = np.array([np.log(d / c.half_d) for c, d in told])
    yield f"  {len(told)} alternating cells: {_miss(off)}"
    mild = np.array([np.log(d / c.half_d) for c, d in told if c.day_c <= 32])
    hot = np.array([np.log(d / c.half_d) for c, d in told if c.day_c > 32])
    yield f"  day up to 32 °C: {mild.size} cells, {_miss(mild)}"
    yield f"  day above: {hot.size} cells, {_miss(hot)}"
    swing = np.array(
        [np.log(d / c.half_d) for c, d in told if 12 <= c.night_c < 20 and c.day_c - c.night_c > 10]
    )
    told_days = f"foretold {np.exp(swing.mean()):.2f} times the days"
    yield f"  night 12 to 20 °C, day 10 °C warmer or more: {swing.size} cells, {told_days}"
    cold = np.array([np.log(d / c.half_d) for c, d in told if c.night_c < 12])
    yield f"  night below 12 °C: {cold.size} cells, foretold {np.exp(cold.mean()):.2f} times the days"
    fails = [c for c, d in found if c.germinated == 0 and np.isfinite(d) and d < 42]
    yield f"  foretold within 42 days, none germinated: {len(fails)} cells, by day {_days_of(fails)}"
    sparks = [c for c, d in found if c.germinated >= 3 and not np.isfinite(d)]
    yield f"  germinated though the sum stands still: {len(sparks)} cells"


def _days_of(cells: list[Cell]) -> str:
    return ", ".join(f"{c.day_c:.0f}/{c.night_c:.0f} °C" for c in cells) or "none"
