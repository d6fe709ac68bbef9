"""The questions answered the straightforward way, with pandas and scipy.

They tell fewer things apart than ours do (no reasons in words, plainer rules for what a watering is, fewer
checks), and so err on the quick side.
"""

from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from scipy.optimize import least_squares

from tests.benchmarks.season import HOUR_MS
from tests.benchmarks.straightforward import Plain
from traywarden.domain.journal import Kind
from traywarden.store.crops import load_crops

Answer = Callable[[Plain], Any]
SEASON_D = 270.0


def _dates(table: "pd.DataFrame | pd.Series[float]") -> list[date]:
    return list(pd.DatetimeIndex(table.index).date)


def _interval(values: np.ndarray, block: int = 7, runs: int = 2000) -> tuple[float, float, float]:
    """Mean, and its interval from a bootstrap of days in blocks."""
    rng = np.random.default_rng(0)
    starts = rng.integers(0, values.size, (runs, -(-values.size // block), 1))
    means = values[(starts + np.arange(block)) % values.size].reshape(runs, -1).mean(axis=1)
    low, high = np.quantile(means, [0.025, 0.975])
    return float(values.mean()), float(low), float(high)


# Temperature -----------------------------------------------------------------------------------------------


def _line(plain: Plain, place_id: int, column: str) -> "pd.Series[float]":
    """A place's heads averaged over five minutes and joined by straight lines, over gaps up to two hours."""
    frame = plain.of_place(place_id, SEASON_D, column).set_index("time")[column]
    steps = frame.resample("5min").mean()
    return steps.interpolate(limit=24, limit_area="inside").tz_convert(plain.zone)


def degree_days(plain: Plain) -> float:
    """Sum above 10 °C over the days of a place."""
    line = _line(plain, 1, "soil_temp_c")
    return float((line - 10.0).clip(lower=0.0).groupby(_dates(line)).mean().sum())


def compare(plain: Plain) -> tuple[float, float, float]:
    """Mean difference of two places by day."""
    both = pd.concat([_line(plain, n, "soil_temp_c") for n in (2, 1)], axis=1).dropna()
    daily = both.groupby(_dates(both)).agg(["min", "mean", "max"])
    return _interval((daily.iloc[:, 1] - daily.iloc[:, 4]).to_numpy())


def air_of_places(plain: Plain) -> pd.DataFrame:
    """Days of the air of every place."""
    return _days_of_places(plain, "air_temp_c")


def soil_of_places(plain: Plain) -> pd.DataFrame:
    """Days of the soil of every place."""
    return _days_of_places(plain, "soil_temp_c")


def _days_of_places(plain: Plain, column: str) -> pd.DataFrame:
    """Days from hourly means: lows, means and highs, and a bootstrap of each."""
    found = []
    for place_id in plain.places:
        frame = plain.of_place(place_id, SEASON_D, column).set_index("time")
        hours = frame[column].resample("1h").agg(["mean", "min", "max"]).tz_convert(plain.zone)
        daily = hours.groupby(_dates(hours)).agg({"mean": "mean", "min": "min", "max": "max"}).dropna()
        found += [(place_id, name, *_interval(daily[name].to_numpy())) for name in daily]
    return pd.DataFrame(found, columns=["place", "what", "mean", "low", "high"])


def air_and_soil_of_places(plain: Plain) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Days of the air and the soil of every place."""
    return air_of_places(plain), soil_of_places(plain)


def places_and_drying(plain: Plain) -> tuple[pd.DataFrame, Any]:
    """Days of the air of every place, and how fast its trays dry."""
    return air_of_places(plain), dry_downs(plain)


def emergence(plain: Plain) -> dict[int, float]:
    """Progress of every sowing by rates summed up over the hours of its soil."""
    crops, done = load_crops(), {}
    heads = sorted({stay.subject for stay in plain.facts.head_trays})
    frame = plain.readings(heads, SEASON_D, ["soil_temp_c"]).set_index("time")
    hourly = frame.groupby("head_id")["soil_temp_c"].resample("1h").mean()
    for entry in plain.facts.entries:
        if entry.kind is not Kind.SOWED:
            continue
        head = next(s.subject for s in plain.facts.head_trays if s.where == entry.tray_id)
        known = [(t, d) for t, d in crops[str(entry.data["crop"])].days_to_emergence if d is not None]
        if known:
            begin = pd.Timestamp(entry.at_ms, unit="ms", tz="UTC")
            soil = hourly.loc[head].loc[begin : begin + pd.Timedelta("60D")].interpolate(limit=12)
            at_c, days = zip(*known, strict=True)
            rates = np.interp(soil, at_c, 1 / np.array(days), left=0.0, right=0.0)
            done[entry.entry_id] = float(rates.sum() / 24)
    return done


def quality(plain: Plain) -> pd.DataFrame:
    """Counts of faults by head: stuck and fast values, and hours unlike the neighbours'."""
    heads = sorted({stay.subject for stay in plain.facts.head_trays})
    frame = plain.readings(heads, SEASON_D, ["soil_temp_c", "moisture_v"])
    found, hours = [], []
    for head, part in frame.groupby("head_id"):
        series = part.set_index("time")
        row: dict[str, Any] = {"head": head}
        for column in ("soil_temp_c", "moisture_v"):
            day = series[column].rolling("24h")
            row[f"stuck {column}"] = int((day.max() - day.min() < 0.02).sum())
            row[f"fast {column}"] = int((series[column].diff().abs() > 5).sum())
        found.append(row)
        hours.append(series["soil_temp_c"].resample("1h").mean())
    together = pd.concat(hours, axis=1)
    apart = together.sub(together.median(axis=1), axis=0).abs() > 5
    return pd.DataFrame(found).assign(apart=apart.sum(axis=0).to_numpy())


# Moisture --------------------------------------------------------------------------------------------------


def _wettings(part: pd.DataFrame) -> pd.DataFrame:
    """Rises of moisture within three hours beyond warming, noise, and what the hour of day always does."""
    series = part.set_index("time")[["moisture", "soil_temp_c"]].dropna(subset="moisture")
    if len(series) < 10:
        nothing = pd.Series([], dtype=series.index.dtype)
        return pd.DataFrame({"onset": nothing, "peak": nothing, "rise": pd.Series([], dtype=float)})
    level = series["moisture"].rolling(3, center=True, min_periods=1).median()
    rise = level - level.rolling("3h").min()
    warming = series["soil_temp_c"] - series["soil_temp_c"].rolling("3h").min()
    noise = series["moisture"].diff().diff().abs().rolling("1D").median() * 1.4826 / np.sqrt(6)
    steps = rise.resample("10min").max()
    habit = pd.concat([steps.shift(144 * day) for day in range(1, 6)], axis=1).max(axis=1)
    usual = habit.reindex(rise.index, method="nearest").fillna(0.0)
    explained = np.maximum(0.002 * warming.clip(lower=0).fillna(0.0), usual)
    up = rise - np.minimum(explained, 0.04) >= np.maximum(0.015, 5 * noise.fillna(0.012))
    event = (up & ~up.shift(1, fill_value=False)).cumsum()[up]
    rows = pd.DataFrame({"time": event.index, "event": event.to_numpy(), "rise": rise[up].to_numpy()})
    found = rows.groupby("event").agg(onset=("time", "first"), peak=("time", "last"), rise=("rise", "max"))
    return found[found["onset"].diff().fillna(pd.Timedelta("1D")) > pd.Timedelta("3h")]


def _stretches(plain: Plain) -> Iterator[tuple[int, int, pd.DataFrame]]:
    """(tray, mix, readings) of every stretch between two wettings."""
    for tray, mix, _, part in plain.of_trays(SEASON_D):
        events, times = _wettings(part), part["time"].to_numpy()
        begun = np.searchsorted(events["onset"].to_numpy(), times)
        drained = np.searchsorted((events["peak"] + pd.Timedelta("1h")).to_numpy(), times)
        dry = (begun == drained) & part["moisture"].notna().to_numpy()
        for _, stretch in part[dry].groupby(begun[dry]):
            yield tray, mix, stretch


def _fitted(stretch: pd.DataFrame) -> float | None:
    """Time constant of an exponential approach to a residual, by scipy's robust least squares."""
    since = (stretch["time_ms"] - stretch["time_ms"].iloc[0]).to_numpy() / 1000.0
    wet, edge = stretch["moisture"].to_numpy(), len(stretch) // 6 + 1
    if since.size < 8 or since[-1] < 43_200 or np.median(wet[:edge]) - np.median(wet[-edge:]) < 0.02:
        return None

    def misses(p: np.ndarray) -> np.ndarray:
        return np.asarray(p[2] + p[0] * np.exp(-since / np.exp(p[1])) - wet)

    bounds = ([0, np.log(since[-1] / 1000), 0], [np.inf, np.log(since[-1] * 1000), wet.max()])
    start = [max(float(np.ptp(wet)), 1e-6), float(np.log(since[-1])), float(wet.min()) * 0.8]
    plain = least_squares(misses, start, bounds=bounds, x_scale="jac")
    scale = max(1.4826 * float(np.median(np.abs(plain.fun))), 1e-6)
    robust = least_squares(misses, plain.x, bounds=bounds, x_scale="jac", loss="soft_l1", f_scale=scale)
    return float(np.exp(robust.x[1]))


def waterings(plain: Plain, days: float = SEASON_D) -> pd.DataFrame:
    """Waterings of every tray: uncovered trays that rose together had rain; the journal's beside them."""
    parts = [_wettings(part).assign(tray=tray) for tray, _, _, part in plain.of_trays(days)]
    table = pd.concat([part for part in parts if len(part)]).sort_values("onset")
    at_ms = [round(at.timestamp() * 1000) for at in table["onset"]]
    where = [plain.facts.place_of_tray(t, at) for t, at in zip(table["tray"], at_ms, strict=True)]
    table["open"] = [p is not None and not plain.places[p].covered for p in where]
    table["together"] = (table["onset"].diff() > pd.Timedelta("55min")).cumsum()
    share = table[table["open"]].groupby("together")["tray"].nunique()
    shut = table[~table["open"]].groupby("together")["tray"].nunique()
    rain = share[(share >= 0.6 * table[table["open"]]["tray"].nunique()) & ~share.index.isin(shut.index)]
    table["kind"] = np.where(table["together"].isin(rain.index), "rain", "by hand")
    told = [e for e in plain.facts.entries if e.kind is Kind.WATERED and e.tray_id is not None]
    written = pd.DataFrame({"tray": [e.tray_id for e in told], "told_ms": [e.at_ms for e in told]})
    written["onset"] = pd.to_datetime(written["told_ms"], unit="ms", utc=True)
    table["onset"] = table["onset"].astype(written["onset"].dtype)
    return pd.merge_asof(
        table,
        written.sort_values("onset"),
        on="onset",
        by="tray",
        direction="nearest",
        tolerance=pd.Timedelta("3h"),
    )


def dry_downs(plain: Plain) -> dict[Any, tuple[float, float, float]]:
    """Median time constant of each mix [days], with an interval from drawing trays again."""
    rows = [(tray, mix, _fitted(stretch)) for tray, mix, stretch in _stretches(plain)]
    table = pd.DataFrame(rows, columns=["tray", "mix", "tau"]).dropna()
    rng, found = np.random.default_rng(0), {}
    for mix, mine in table.groupby("mix"):
        groups = [group["tau"].to_numpy() for _, group in mine.groupby("tray")]
        draws = rng.integers(0, len(groups), (2000, len(groups)))
        medians = [np.median(np.concatenate([groups[k] for k in draw])) for draw in draws]
        low, high = np.quantile(medians, [0.025, 0.975]) / 86400
        found[mix] = (float(mine["tau"].median()) / 86400, float(low), float(high))
    return found


def mix_rates(plain: Plain) -> dict[int, float]:
    """Loss by the hour of each mix: straight lines through the stretches between wettings."""
    slopes: dict[int, list[float]] = {}
    for _, mix, stretch in _stretches(plain):
        hours = stretch.set_index("time")["moisture"].resample("1h").mean().dropna()
        if len(hours) >= 12:
            since = pd.DatetimeIndex(hours.index).as_unit("s").asi8 / 3600
            slopes.setdefault(mix, []).append(-np.polyfit(since - since[0], hours.to_numpy(), 1)[0])
    return {mix: float(np.median(found)) for mix, found in slopes.items()}


def moisture(plain: Plain) -> pd.DataFrame:
    """Hours of every tray, its days, and the level it comes up to week by week."""
    found = []
    for tray, _, head, part in plain.of_trays(SEASON_D):
        hours = part.set_index("time")[["moisture", "soil_temp_c"]].resample("1h").mean()
        daily = hours.groupby(_dates(hours)).agg(["min", "mean", "max"])
        top = hours["moisture"].rolling(168, min_periods=24).quantile(0.95)
        daily["top"] = top.groupby(_dates(top)).mean()
        found.append(daily.assign(tray=tray, head=head))
    return pd.concat(found)


def levels(plain: Plain) -> "pd.Series[float]":
    """Moisture after the wettings of every tray."""
    tops = []
    for tray, _, _, part in plain.of_trays(SEASON_D):
        for peak in _wettings(part)["peak"]:
            after = (part["time"] > peak) & (part["time"] < peak + pd.Timedelta("6h"))
            tops.append((tray, part["moisture"][after].median()))
    return pd.DataFrame(tops, columns=["tray", "top"]).groupby("tray")["top"].median()


def today(plain: Plain) -> pd.DataFrame:
    """Every tray now: moisture against its dry line and since when, soil, last wetting, how fast it dries."""
    events = waterings(plain, 36.0)
    rows = []
    for tray, mix, _, part in plain.of_trays(36.0):
        if part["time_ms"].iloc[-1] < plain.now_ms - 2 * HOUR_MS:
            continue
        below = part["moisture"].ffill(limit=12) < plain.mixes[mix].dry_line_m3_m3
        since = part["time"][below & ~below.shift(1, fill_value=False)].max()
        watered = events["onset"][events["tray"] == tray].max()
        present = part[part["moisture"].notna() & (pd.isna(watered) | (part["time"] > watered))]
        tau = _fitted(present) if len(present) else None
        last = part.iloc[-1]
        rows.append((tray, last["moisture"], below.iloc[-1], since, last["soil_temp_c"], watered, tau))
    return pd.DataFrame(rows, columns=["tray", "now", "dry", "since", "soil", "watered", "tau"])
