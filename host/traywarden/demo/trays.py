"""Trays as heat and water: an energy balance and a water balance for the mix around each head.

Many at once: every state is an array with one value for each spot, which is the mix around one head. Pure;
each step follows from the one before and the air of the place.

Energy, per m² of surface: heat stored = sun taken in + longwave in − longwave out + convection at the top and
through sides and bottom − evaporation. Heat capacity follows the water; freezing takes its latent heat.
Water, per spot: evaporation (stage one, stage two), rain and watering from above, wicking from a bath below,
run-off above saturation, drainage above container capacity. One layer, without gradients; no plants.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from traywarden.demo.physics import (
    EMISSIVITY,
    FREEZING_SPAN_C,
    FUSION_J_M3,
    ORGANIC_J_M3_K,
    PSYCHROMETRIC_KPA_K,
    STEFAN_BOLTZMANN_W_M2_K4,
    VAPORISATION_J_KG,
    WATER_J_M3_K,
    ZERO_C_K,
    black_w_m2,
    saturation_slope_kpa_k,
    wetness,
)
from traywarden.demo.sites import PlaceAir
from traywarden.domain.psychrometrics import saturation_vapour_pressure_kpa
from traywarden.domain.series import FloatArray, IntArray

BATH_S = 2 * 3600.0
WICKS_TO = 1.03
"""What a bath brings the mix to, as a part of container capacity."""


@dataclass(frozen=True, slots=True)
class Substrate:
    """What a mix does with water [m³/m³], heat and light.

    `stage_one_ends_m3_m3`: below this the surface dries and evaporation falls off. `saturated_m3_m3`: no
    pore without water. `drains_s`, `wicks_s`: time constants of drainage and of drawing water up.
    """

    capacity_m3_m3: float
    residual_m3_m3: float
    stage_one_ends_m3_m3: float
    saturated_m3_m3: float
    drains_s: float = 1500.0
    wicks_s: float = 2200.0
    solids_m3_m3: float = 0.12
    solids_j_m3_k: float = ORGANIC_J_M3_K
    reflects: float = 0.2
    """Part of the sun it throws back."""


@dataclass(frozen=True, slots=True)
class Spot:
    """The mix around one head. `edge`: surface of sides and bottom that air reaches, per m² of top.

    `low_m3_m3`: what less a bath brings here than elsewhere, where the tray stands out of level.
    """

    substrate: Substrate
    place: int
    start_fraction: float
    depth_mm: float = 45.0
    edge: float = 0.8
    low_m3_m3: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Flows:
    """What moved in one step [mm], for each spot; rain and cans are `poured_mm`."""

    evaporated_mm: FloatArray
    drained_mm: FloatArray
    wicked_mm: FloatArray
    poured_mm: FloatArray
    ran_off_mm: FloatArray


class Trays:
    """The spots of a garden, step by step."""

    def __init__(self, spots: Sequence[Spot], airs: Sequence[PlaceAir]) -> None:
        self.spots = tuple(spots)
        self._step_s = float(airs[0].step_s)
        self._place: IntArray = np.array([spot.place for spot in spots], np.int64)
        made_of = [spot.substrate for spot in spots]
        self.capacity_m3_m3 = np.array([s.capacity_m3_m3 for s in made_of])
        self.residual_m3_m3 = np.array([s.residual_m3_m3 for s in made_of])
        self._stage_one_ends = np.array([s.stage_one_ends_m3_m3 for s in made_of])
        self._saturated = np.array([s.saturated_m3_m3 for s in made_of])
        self._drained_left = np.exp(-self._step_s / np.array([s.drains_s for s in made_of]))
        self._wicked = 1 - np.exp(-self._step_s / np.array([s.wicks_s for s in made_of]))
        self._solids_j_m3_k = np.array([s.solids_m3_m3 * s.solids_j_m3_k for s in made_of])
        self._takes_in = 1 - np.array([s.reflects for s in made_of])
        self.depth_mm = np.array([spot.depth_mm for spot in spots])
        self._edge = np.array([spot.edge for spot in spots])
        self._bath_to = self.capacity_m3_m3 * WICKS_TO - np.array([spot.low_m3_m3 for spot in spots])
        # One row for each step, one column for each place: a step reads one row.
        self._air_c = np.column_stack([a.temp_c for a in airs])
        self._vapour_kpa = np.column_stack([a.vapour_kpa for a in airs])
        self._sun = np.column_stack([a.sun_w_m2 for a in airs])
        self._longwave = np.column_stack([a.longwave_w_m2 for a in airs])
        self._convection = np.column_stack([a.convection_w_m2_k for a in airs])
        self._rain_mm = np.column_stack([a.rain_mm for a in airs])
        start = np.array([spot.start_fraction for spot in spots])
        self.temp_c: FloatArray = self._air_c[0, self._place].copy()
        self.water_m3_m3: FloatArray = self.residual_m3_m3 + start * (
            self.capacity_m3_m3 - self.residual_m3_m3
        )
        self._bath_s = np.zeros(len(spots))
        self._can_mm = np.zeros(len(spots))

    def bathe(self, spot: int, lasts_s: float = BATH_S) -> None:
        """Stand the tray in water for a while: the mix draws it up."""
        self._bath_s[spot] = lasts_s

    def pour(self, spot: int, water_mm: float) -> None:
        """Water from above, within the next step."""
        self._can_mm[spot] += water_mm

    def move(self, spot: int, place: int) -> None:
        self._place[spot] = place

    @property
    def ice(self) -> FloatArray:
        """Part of the water that is frozen, 0 to 1."""
        return np.asarray(np.clip(-self.temp_c / FREEZING_SPAN_C, 0.0, 1.0))

    @property
    def liquid_m3_m3(self) -> FloatArray:
        """What a moisture sensor can see: ice looks dry to it."""
        return np.asarray(self.water_m3_m3 * (1 - self.ice))

    def step(self, number: int) -> Flows:
        """Move on by one step, under the air of that number."""
        gone_mm = self._warm(number)
        return self._wet(number, gone_mm)

    def _warm(self, number: int) -> FloatArray:
        """The energy balance; returns what evaporated [mm].

        One step of a linearised implicit scheme: stable at any length of step, exact in the steady state.
        """
        place, temp_c, dt = self._place, self.temp_c, self._step_s
        air_c, vapour_kpa = self._air_c[number, place], self._vapour_kpa[number, place]
        top = self._convection[number, place]
        gives = wetness(self.water_m3_m3, self.residual_m3_m3, self._stage_one_ends) * (temp_c > 0)
        dry_w_m2 = top / PSYCHROMETRIC_KPA_K * (saturation_vapour_pressure_kpa(temp_c) - vapour_kpa)
        gives = np.where(dry_w_m2 > 0, gives, 0.0)  # dew is not told
        out_k = top + self._edge * top
        gain = (
            self._takes_in * self._sun[number, place]
            + self._longwave[number, place]
            - EMISSIVITY * black_w_m2(temp_c)
            + out_k * (air_c - temp_c)
            - gives * dry_w_m2
        )
        slope = (
            4 * EMISSIVITY * STEFAN_BOLTZMANN_W_M2_K4 * (temp_c + ZERO_C_K) ** 3
            + out_k
            + gives * top / PSYCHROMETRIC_KPA_K * saturation_slope_kpa_k(temp_c)
        )
        freezing = (temp_c < 0) & (temp_c > -FREEZING_SPAN_C)
        holds = (
            self.depth_mm
            / 1000
            * (
                self._solids_j_m3_k
                + self.water_m3_m3 * (WATER_J_M3_K + freezing * FUSION_J_M3 / FREEZING_SPAN_C)
            )
        )
        self.temp_c = temp_c + dt * gain / (holds + dt * slope)
        middle_c = (temp_c + self.temp_c) / 2
        pull = top / PSYCHROMETRIC_KPA_K * (saturation_vapour_pressure_kpa(middle_c) - vapour_kpa)
        lost_mm = np.maximum(gives * pull, 0.0) * dt / VAPORISATION_J_KG
        there_mm = np.maximum(self.water_m3_m3 - self.residual_m3_m3, 0.0) * self.depth_mm
        return np.asarray(np.minimum(lost_mm, there_mm))

    def _wet(self, number: int, gone_mm: FloatArray) -> Flows:
        depth_mm = self.depth_mm
        water = self.water_m3_m3 - gone_mm / depth_mm
        bathed = self._bath_s > 0
        taken = np.where(bathed, np.maximum(self._bath_to - water, 0.0) * self._wicked, 0.0)
        self._bath_s = np.maximum(self._bath_s - self._step_s, 0.0)
        poured_mm = self._rain_mm[number, self._place] + self._can_mm
        self._can_mm = np.zeros(depth_mm.size)
        water = water + taken + poured_mm / depth_mm
        over = np.maximum(water - self._saturated, 0.0)
        water = water - over
        free = np.maximum(water - self.capacity_m3_m3, 0.0)
        drained = np.where(bathed, 0.0, free * (1 - self._drained_left))
        self.water_m3_m3 = water - drained
        return Flows(gone_mm, drained * depth_mm, taken * depth_mm, poured_mm, over * depth_mm)


class Mould:
    """The mix around one head, as a gardener looks at it."""

    def __init__(self, trays: Trays, number: int) -> None:
        self._trays, self._number = trays, number

    @property
    def substrate(self) -> Substrate:
        return self._trays.spots[self._number].substrate

    @property
    def temp_c(self) -> float:
        return float(self._trays.temp_c[self._number])

    @property
    def water_m3_m3(self) -> float:
        return float(self._trays.water_m3_m3[self._number])

    def water_from_below(self) -> None:
        """Stand the tray in water for a while."""
        self._trays.bathe(self._number)
