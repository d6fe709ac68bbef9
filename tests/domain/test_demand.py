"""Evaporative demand against refet, an independent implementation, and against measured sun and wind."""

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
import refet.calcs

from tests.shared_data import shared_file
from traywarden.domain.demand import (
    PRESSURE_KPA,
    WIND_M_S,
    assumed_position,
    net_radiation_mj_m2,
    reference_demand_mm,
    sky_radiation_mj_m2,
)
from traywarden.domain.psychrometrics import saturation_vapour_pressure_kpa, vpd_kpa
from traywarden.domain.series import FloatArray

YEAR_S = 946_684_800.0  # 1 January 2000
HOURS: FloatArray = YEAR_S + 3600.0 * np.arange(366 * 24, dtype=np.float64)
DAY_OF_YEAR = np.arange(HOURS.size) // 24 + 1


@pytest.mark.parametrize(("latitude", "longitude"), [(40.0, -88.3), (52.0, 5.0), (-33.0, 18.0)])
def test_sunlight_above_the_atmosphere_agrees_with_refet_hour_by_hour(
    latitude: float, longitude: float
) -> None:
    """refet 0.5 integrates ASCE eq. 48 with a simpler declination: 0.12 MJ/m² an hour (2.5 % of noon) and
    1.5 % over the year."""
    theirs = refet.calcs.ra_hourly(
        np.radians(latitude), np.radians(longitude), DAY_OF_YEAR, (HOURS % 86400) / 3600 + 0.5
    )
    ours = sky_radiation_mj_m2(HOURS, latitude, longitude)
    assert np.abs(ours - theirs).max() < 0.12
    assert ours.sum() == pytest.approx(theirs.sum(), rel=0.015)


def test_net_radiation_agrees_with_refet() -> None:
    """refet's long-wave part with the same cloud factor; its σ and 273.16 are FAO-56's: 1e-3 MJ/m²."""
    sky, clear = np.array([0.0, 1.0, 2.5, 4.0]), np.array([0.3, 0.5, 0.6, 0.75])
    temps, actual = np.array([5.0, 12.0, 22.0, 30.0]), np.array([0.7, 1.0, 1.4, 2.0])
    cloud = 1.35 * np.clip(clear / 0.75, 0.3, 1.0) - 0.35
    theirs = 0.77 * clear * sky - refet.calcs.rnl_hourly(temps, actual, cloud)
    assert net_radiation_mj_m2(sky, clear, temps, actual) == pytest.approx(theirs, abs=1e-3)


def test_reference_demand_is_fao_56_equation_53_as_refet_has_it() -> None:
    """refet's etsz with 37 and 0.34, the hourly constants of FAO-56 eq. 53; 1 % for rounding of γ."""
    hour = HOURS[180 * 24 : 184 * 24]
    temps = 18 + 7 * np.sin((np.arange(hour.size) - 15) / 24 * 2 * np.pi)
    deficit = vpd_kpa(temps, 60 - 20 * np.sin((np.arange(hour.size) - 15) / 24 * 2 * np.pi))
    ours = reference_demand_mm(hour, temps, deficit, latitude_deg=40.0, longitude_deg=-88.3)
    saturated = saturation_vapour_pressure_kpa(temps)
    clear = np.full(hour.size, 0.16 * np.sqrt(14.0))
    sky = sky_radiation_mj_m2(hour, 40.0, -88.3)
    net = net_radiation_mj_m2(sky, clear, temps, saturated - deficit)
    theirs = refet.calcs.etsz(
        rn=net,
        g=np.where(sky > 0, 0.1, 0.5) * net,
        tmean=temps,
        u2=WIND_M_S,
        vpd=deficit,
        es_slope=refet.calcs.es_slope(temps, "refet"),
        psy=0.000665 * PRESSURE_KPA,
        cn=37.0,
        cd=0.34,
    )
    whole = slice(24, None)  # from the second day on the day's range is known
    assert ours[whole] == pytest.approx(np.maximum(theirs, 0.0)[whole], rel=0.01, abs=1e-3)


@pytest.mark.data
def test_the_stand_ins_for_sun_and_wind_follow_what_was_measured_at_bondville() -> None:
    """The same equation from measured sun and wind (refet) over April to October: the daily sums go together
    (r = 0.89), within a third in all. The clock needs their course; their size is learnt with the speed."""
    table = pd.read_csv(shared_file("field_bondville_1998.csv"))
    table = table.mask(table.isin([-6999.0]))
    stamps = pd.DatetimeIndex(pd.to_datetime(table["time_lst"]))
    hour = np.asarray((stamps - pd.Timestamp(0)).total_seconds() // 3600, dtype=np.int64) + 6
    season = (stamps >= pd.Timestamp("1998-04-01")) & (stamps < pd.Timestamp("1998-11-01"))
    table = table[season].drop(columns="time_lst").groupby(hour[season]).mean().interpolate()
    start_s = table.index.to_numpy(np.float64) * 3600
    temps, humidity = (table[n].to_numpy(np.float64) for n in ("air_temp_c", "rh_pct"))
    deficit = vpd_kpa(temps, humidity)
    ours = reference_demand_mm(start_s, temps, deficit, latitude_deg=40.0, longitude_deg=-88.3)
    actual = saturation_vapour_pressure_kpa(temps) - deficit
    sun_mj = table["solar_w_m2"].to_numpy(np.float64) * 0.0036
    sky = sky_radiation_mj_m2(start_s, 40.0, -88.3)
    clear = np.where(sky > 0.1, np.clip(sun_mj / np.maximum(sky, 0.1), 0.0, 0.75), 0.5)
    net = 0.77 * np.maximum(sun_mj, 0) - refet.calcs.rnl_hourly(
        temps, actual, 1.35 * np.clip(clear / 0.75, 0.3, 1.0) - 0.35
    )
    theirs = refet.calcs.etsz(
        rn=net,
        g=np.where(sun_mj > 0.01, 0.1, 0.5) * net,
        tmean=temps,
        u2=refet.calcs.wind_height_adjust(table["wind_m_s"].to_numpy(np.float64), 10.0),
        vpd=deficit,
        es_slope=refet.calcs.es_slope(temps, "refet"),
        psy=0.000665 * 98.0,
        cn=37.0,
        cd=0.34,
    )
    day = ((start_s - start_s[0]) // 86400).astype(np.int64)
    known = np.isfinite(ours)
    sums, true = (np.bincount(day[known], v[known]) for v in (ours, np.maximum(theirs, 0)))
    assert np.corrcoef(sums, true)[0, 1] > 0.85
    assert sums.sum() == pytest.approx(true.sum(), rel=0.33)


def test_later_hours_change_no_earlier_one() -> None:
    temps = 15 + 5 * np.sin(np.arange(96) / 24 * 2 * np.pi)
    changed = np.concatenate((temps[:60], temps[60:] + 10))
    one, other = (
        reference_demand_mm(HOURS[:96], t, latitude_deg=45.0, longitude_deg=0.0)[:60]
        for t in (temps, changed)
    )
    assert np.array_equal(one, other, equal_nan=True)


def test_without_humidity_the_nights_low_stands_in_for_the_dew_point() -> None:
    """FAO-56 eq. 48; at its own low the air is then saturated, and demand by night next to nothing."""
    temps = 15 + 8 * np.sin((np.arange(72) - 9) / 24 * 2 * np.pi)
    found = reference_demand_mm(HOURS[4008:4080], temps, latitude_deg=45.0, longitude_deg=0.0)
    assert found[48 + 3] < 0.03
    assert found[48 + 13] > 0.2


def test_unknown_hours_stay_unknown_and_a_garden_without_a_position_gets_its_clocks_meridian() -> None:
    temps = np.full(48, 15.0)
    temps[30] = np.nan
    found = reference_demand_mm(HOURS[:48], temps, latitude_deg=45.0, longitude_deg=0.0)
    assert np.isnan(found[30])
    assert np.isfinite(found[31])
    assert assumed_position(ZoneInfo("Asia/Tokyo"), YEAR_S) == (45.0, 135.0)


def test_air_that_was_never_measured_asks_for_nothing() -> None:
    """A garden without any air sensor: no hours, and no fault."""
    none = np.empty(0)
    assert reference_demand_mm(none, none, none, latitude_deg=45.0, longitude_deg=0.0).shape == (0,)
