"""One vessel of wort from pitch to emptying: yeast, two sugars, heat, jacket and lactic bacteria.

Sources. Yields of ethanol, carbon dioxide and yeast: Balling's 2.0665 g extract to 1 g ethanol,
0.9565 g CO2 and 0.11 g yeast. Apparent from real extract: Balling's 0.1808 and 0.8192. Lag:
Baranyi and Roberts, Int. J. Food Microbiol. 23 (1994) 277. Growth by temperature: Rosso et al.,
J. Theor. Biol. 162 (1993) 447. pKa of lactic acid 3.86. All from memory, as is the heat of
fermentation. Rates and capacities were set by hand so that a wort of 1.065 levels in about two
days and turns sour in the days after: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
import pandas as pd
from scipy.integrate import solve_ivp

EXTRACT_PER_ETHANOL = 2.0665
CO2_PER_ETHANOL = 0.9565
YEAST_PER_ETHANOL = 0.11
HEAT_KJ_PER_G = 0.55
"""Heat set free by a gram of extract fermented; from memory."""
EVAPORATION_KJ_PER_G_CO2 = 0.036
"""Water the gas carries off, saturated near 30 °C, times its heat of evaporation."""
HEAT_CAPACITY_KJ_L_K = 4.05
LACTIC_PKA = 3.86
GROWTH_G_L = 3.65
LACTIC_G_MOL = 90.08
STEP_H = 0.1
"""Spacing of the hours a course is kept at."""

Measured = TypeVar("Measured", float, np.ndarray, pd.Series)

COLUMNS = (
    "lag",
    "yeast_g_l",
    "vitality",
    "sugar_g_l",
    "late_sugar_g_l",
    "temp_c",
    "valve_pct",
    "log_bacteria",
    "lactic_g_l",
    "jacket_kj_l",
    "wall_kj_l",
)


@dataclass(frozen=True, slots=True)
class Wort:
    """What the mash house sent: gravity, where it can end, how much of it goes slowly, pH."""

    og_sg: float = 1.065
    limit_sg: float = 0.9987
    late_share: float = 0.16
    ph: float = 5.25
    buffer_mol_ph: float = 0.023

    @property
    def fermentable_g_l(self) -> float:
        """Extract that yeast can take, g per L."""
        return (plato(self.og_sg) - plato(self.limit_sg)) * 8.192 * self.og_sg


@dataclass(frozen=True, slots=True)
class Pitch:
    """Live yeast at hour zero and how ready it is."""

    live_g_l: float = 0.75
    readiness: float = 0.05
    vigour: float = 1.0
    temp_c: float = 20.5
    bacteria_per_ml: float = 9.0e3


@dataclass(frozen=True, slots=True)
class Plant:
    """The vessel and what cools it. Rates are per hour at the vessel's own heat capacity."""

    set_c: float = 30.0
    gain_pct_per_c: float = 45.0
    wall_per_h: float = 0.003
    jacket_per_h: float = 0.10
    room_c: float = 12.0
    water_c: float = 10.0


@dataclass(frozen=True, slots=True)
class Change:
    """What becomes different at an hour: a fault begins, or is put right."""

    at_h: float
    held_valve_pct: float | None = None
    set_shift_c: float = 0.0
    freeze_valve: bool = False
    yeast_factor: float = 1.0
    """The share of the yeast that goes on working."""


@dataclass(frozen=True, slots=True)
class Batch:
    """Everything the course of one batch follows from."""

    wort: Wort = field(default_factory=Wort)
    pitch: Pitch = field(default_factory=Pitch)
    plant: Plant = field(default_factory=Plant)
    length_h: float = 126.0
    changes: Sequence[Change] = ()


def plato(sg: Measured) -> Measured:
    """Extract in % by mass from gravity (the cubic usual in brewing)."""
    return -616.868 + 1111.14 * sg - 630.272 * sg**2 + 135.997 * sg**3


_SG_GRID = np.linspace(0.985, 1.120, 1351)
_PLATO_GRID = plato(_SG_GRID)


def gravity(extract_pct: np.ndarray) -> np.ndarray:
    """Gravity of an extract in % by mass: `plato` turned round."""
    return np.interp(extract_pct, _PLATO_GRID, _SG_GRID)


def growth_by_temperature(temp_c: float, least: float, best: float, most: float) -> float:
    """Share of the best growth rate at a temperature, by three cardinal temperatures."""
    if not least < temp_c < most:
        return 0.0
    above = (temp_c - most) * (temp_c - least) ** 2
    below = (best - least) * (
        (best - least) * (temp_c - best) - (best - most) * (best + least - 2 * temp_c)
    )
    return above / below


def ph_with_lactic(ph_before: float, lactic_g_l: float, buffer_mol_ph: float) -> float:
    """pH at which the lactic acid given off balances what the wash takes up."""
    acid, ph = lactic_g_l / LACTIC_G_MOL, ph_before
    for _ in range(30):  # Newton; smooth, as the solver differentiates through it
        bound = 10 ** (LACTIC_PKA - ph)
        excess = acid / (1.0 + bound) - buffer_mol_ph * (ph_before - ph)
        step = excess / (acid * bound * math.log(10) / (1.0 + bound) ** 2 + buffer_mol_ph)
        ph -= step
        if abs(step) < 1e-11:
            break
    return ph


def _most_yeast(live_g_l: float) -> float:
    """Yeast there can be, g per L: the oxygen in the wort allows so much growth at any pitch."""
    return live_g_l + GROWTH_G_L


def ph_without_lactic(wort: Wort, pitch: Pitch, yeast_g_l: float) -> float:
    """pH that yeast alone would have brought: it falls as yeast grows."""
    grown = (yeast_g_l - pitch.live_g_l) / GROWTH_G_L
    return wort.ph - 1.08 * min(max(grown, 0.0), 1.15)


class _Rates:
    """The differential equations of one stretch between two changes."""

    def __init__(self, batch: Batch, change: Change | None) -> None:
        self.wort, self.pitch, self.plant = batch.wort, batch.pitch, batch.plant
        self.fermentable = batch.wort.fermentable_g_l
        self.most_yeast = _most_yeast(batch.pitch.live_g_l)
        self.change = change or Change(0.0)

    def __call__(self, _: float, state: np.ndarray) -> list[float]:
        lag, yeast, vitality, sugar, late, temp, valve, logged, lactic, _, _ = state.tolist()
        sugar, late = max(sugar, 0.0), max(late, 0.0)
        ethanol = (self.fermentable - sugar - late) / EXTRACT_PER_ETHANOL
        quick, slow = self._uptake(lag, yeast * vitality, sugar, late, temp, ethanol)
        grows = growth_by_temperature(temp, 3.0, 31.5, 39.5)
        growth = self._growth(lag, yeast, sugar + late, grows, ethanol)
        death = (0.0012 + 0.00006 * ethanol + 0.05 * max(temp - 35.0, 0.0)) * vitality
        taken = quick + slow
        warmed, wall, jacket = self._heat(taken, temp, valve)
        multiply, sours = self._bacteria(logged, lactic, yeast, temp, ethanol, sugar + late)
        return [
            0.36 * grows * lag * (1.0 - lag / 1.0e4),
            growth,
            -death,
            -quick,
            -slow,
            warmed,
            self._valve(temp, valve),
            multiply,
            sours,
            jacket,
            wall,
        ]

    def _uptake(
        self, lag: float, active: float, sugar: float, late: float, temp: float, ethanol: float
    ) -> tuple[float, float]:
        works = growth_by_temperature(temp, 1.0, 34.5, 43.0) * lag / (1.0 + lag)
        works *= active * self.pitch.vigour * max(1.0 - ethanol / 118.0, 0.0)
        quick = 3.3 * works * sugar / (3.0 + sugar)
        slow = 0.95 * works * late / (2.5 + late) / (1.0 + sugar / 25.0)
        return quick, slow

    def _growth(self, lag: float, yeast: float, food: float, grows: float, ethanol: float) -> float:
        room = max(1.0 - yeast / self.most_yeast, 0.0) * food / (5.0 + food)
        eased = max(1.0 - ethanol / 95.0, 0.0)
        return 0.33 * grows * lag / (1.0 + lag) * yeast * room * eased * self.pitch.vigour

    def _heat(self, taken: float, temp: float, valve: float) -> tuple[float, float, float]:
        gas = taken / EXTRACT_PER_ETHANOL * CO2_PER_ETHANOL
        made = taken * HEAT_KJ_PER_G - gas * EVAPORATION_KJ_PER_G_CO2
        wall = self.plant.wall_per_h * (temp - self.plant.room_c) * HEAT_CAPACITY_KJ_L_K
        opened = self.plant.jacket_per_h * valve / 100.0
        jacket = opened * (temp - self.plant.water_c) * HEAT_CAPACITY_KJ_L_K
        return (made - wall - jacket) / HEAT_CAPACITY_KJ_L_K, wall, jacket

    def _valve(self, temp: float, valve: float) -> float:
        change = self.change
        if change.freeze_valve:
            return 0.0
        wanted = change.held_valve_pct
        if wanted is None:
            above = temp - self.plant.set_c - change.set_shift_c
            wanted = min(max(above * self.plant.gain_pct_per_c, 0.0), 100.0)
        return (wanted - valve) / 0.2

    def _bacteria(
        self,
        logged: float,
        lactic: float,
        yeast: float,
        temp: float,
        ethanol: float,
        food: float,
    ) -> tuple[float, float]:
        ph = ph_with_lactic(
            ph_without_lactic(self.wort, self.pitch, yeast), lactic, self.wort.buffer_mol_ph
        )
        warm = growth_by_temperature(temp, 8.0, 35.0, 46.0)
        bears = min(max((ph - 3.12) / 1.1, 0.0), 1.0) * max(1.0 - ethanol / 160.0, 0.0)
        fed = 0.45 + 0.55 * (1.0 - food / self.fermentable)
        number = math.exp(min(logged, 25.0))
        multiply = 0.36 * warm * bears * fed * (1.0 - number / 4.0e8)
        return multiply, 0.09 * number / 1.0e8 * warm * bears


def _start(batch: Batch) -> np.ndarray:
    fermentable = batch.wort.fermentable_g_l
    late = batch.wort.late_share * fermentable
    bacteria = math.log(max(batch.pitch.bacteria_per_ml, 1e-9))
    pitch = batch.pitch
    quick = fermentable - late
    return np.array(
        [pitch.readiness, pitch.live_g_l, 1.0, quick, late, pitch.temp_c, 0.0, bacteria, 0, 0, 0]
    )


def course(batch: Batch) -> pd.DataFrame:
    """The true course, a row per 0.1 h: the states, and gravity, pH and ethanol from them.

    Columns: `hours`, the eleven of `COLUMNS`, `sg`, `ph`, `ethanol_g_l`.
    """
    stretches = _stretches(batch)
    state, parts = _start(batch), []
    for start, end, change in stretches:
        if change is not None:
            state[2] *= change.yeast_factor
        hours = np.arange(math.ceil(start / STEP_H - 1e-6), end / STEP_H + 1e-6) * STEP_H
        solved = solve_ivp(
            _Rates(batch, change),
            (start, end),
            state,
            method="LSODA",
            t_eval=np.append(hours[(hours >= start) & (hours < end)], end),
            rtol=1e-5,
            atol=1e-7,
        )
        state = solved.y[:, -1].copy()
        parts.append(pd.DataFrame(solved.y[:, :-1].T, columns=COLUMNS).assign(hours=solved.t[:-1]))
    last = pd.DataFrame(state[None, :], columns=COLUMNS).assign(hours=batch.length_h)
    return _with_readable(pd.concat([*parts, last], ignore_index=True), batch)


def _stretches(batch: Batch) -> list[tuple[float, float, Change | None]]:
    changes = sorted(batch.changes, key=lambda change: change.at_h)
    starts: list[tuple[float, Change | None]] = [(0.0, None)]
    starts += [(change.at_h, change) for change in changes if change.at_h < batch.length_h]
    ends = [start for start, _ in starts[1:]] + [batch.length_h]
    return [
        (start, end, change)
        for (start, change), end in zip(starts, ends, strict=True)
        if end > start
    ]


def _with_readable(states: pd.DataFrame, batch: Batch) -> pd.DataFrame:
    wort = batch.wort
    sugars = states["sugar_g_l"].clip(lower=0) + states["late_sugar_g_l"].clip(lower=0)
    taken = wort.fermentable_g_l - sugars
    extract = plato(wort.og_sg) - taken / (8.192 * wort.og_sg)
    before = [ph_without_lactic(wort, batch.pitch, y) for y in states["yeast_g_l"]]
    return states.assign(
        sg=gravity(extract.to_numpy()),
        ph=[
            ph_with_lactic(ph, max(acid, 0.0), wort.buffer_mol_ph)
            for ph, acid in zip(before, states["lactic_g_l"], strict=True)
        ],
        ethanol_g_l=taken / EXTRACT_PER_ETHANOL,
    )


def without_changes(batch: Batch) -> Batch:
    """The same batch with nothing happening to it."""
    return replace(batch, changes=())
