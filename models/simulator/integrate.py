"""Forward integration of the station: explicit steps of 30 s, all lanes at once.

Volumes and flows are counted as mixed juice at 35 degC (`parameters.as_mixed_juice`). For a cell
with inflow ``Q`` and new volume ``V'`` the update ``c' = c + dt Q (c_in - c) / V'`` keeps the
mass exactly, whatever the volume does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.cells import State
from models.simulator.drive import DRIVE_AT
from models.simulator.filtrate import FilterStation, tank
from models.simulator.parameters import PlantParameters
from models.simulator.reactions import React

Floats = NDArray[np.float64]


#: What is written down each step, besides the destruction by zone.
TRACE_COLUMNS = (
    "flow_feed", "flow_settler", "flow_mud", "flow_over", "flow_tank", "lime", "level_liming",
    "level_settler", "level_mud", "level_tank", "fed", "left", "flow_filtrate",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Run:
    """What an integration wrote down.

    Attributes
    ----------
    trace : array, shape (T, L, 13)
        Flows [m3/h], lime [L/h], levels [%], sucrose fed and gone out [kg/h]
        (`TRACE_COLUMNS`).
    destroyed_kg_h : array, shape (T, L, 9 or 10)
        Sucrose destroyed by zone (`cells.zones_of`).
    contents : array, shape (T, 7, L, 14) or (0, 7, L, 14)
        Contents of every cell, when asked for.
    filtrate : array, shape (T, 8) or (0, 8)
        First lane's filtrate tank, contents and volume, when contents are asked for.
    kept : dict of int to State
        One-lane states before the steps asked for.
    last : State
        State after the last step.
    """

    trace: Floats
    destroyed_kg_h: Floats
    contents: Floats
    filtrate: Floats
    kept: dict[int, State]
    last: State


class Integrator:
    """Steps a station forward; holds its constants and work arrays."""

    def __init__(self, plant: PlantParameters, lanes: int) -> None:
        self.plant = plant
        self.react = React(plant, lanes)
        self.shares = c.cell_shares(plant)
        self.inflow = np.zeros((lanes, c.CELLS))
        self.gain = np.ones((lanes, c.CELLS))
        self.gain[:, c.FLASH] = 1.0 / (1.0 - c.FLASH_SHARE)
        self.target = np.zeros((lanes, c.CELLS))
        self.exchange = np.zeros(lanes)
        self.lag = np.zeros(c.CELLS)
        heaters = [c.PRIMARY, c.SECONDARY, c.HEATER, c.EVAPORATOR]
        self.lag[heaters] = 1.0 - np.exp(-p.STEP_S / 60.0 / c.HEATER_MIN)
        self.cooling = c.COOLING_K_H.copy()
        self.cooling[c.CLEAR_FIRST : c.SLOW + 1] = plant.settler_loss_k_h
        self.trace = np.zeros((lanes, len(TRACE_COLUMNS)))
        manners = plant.manners
        self.filters = None
        if manners and manners.filtrate_share:
            self.filters = FilterStation(plant, self.react, lanes)
        self.mud_takes_room = manners is not None and manners.mud_takes_room
        # Vapour takes some alkali along: a fixed drop of pH between heater and evaporator.
        self.vapour_meq_l = plant.evaporator_ph_drop * plant.buffer_meq_l_ph

    def step(self, s: State, u: Floats) -> Floats:
        """Advance by one step and return the sucrose destroyed by cell [kg/h], shape (L, 14)."""
        volume = s.volume_m3.copy()
        lime = self._lime(s, u)
        self._front(s, u, volume, lime)
        self._settler(s, u, volume)
        self._back(s, u, volume)
        self._transport(s, u, volume)
        s.x[c.ALKALI, :, c.LIMING] += (
            p.STEP_H * lime * self.plant.lime_eq_l * u[:, DRIVE_AT["lime_strength"]]
        ) / volume[:, c.LIMING]
        s.volume_m3[:] = volume
        self._heat(s, u)
        multiplier = u[:, DRIVE_AT["multiplier"]]
        if self.filters:
            self.filters.rot(s, u[:, DRIVE_AT["infection"]], multiplier)
        return self.react.step(s, u[:, DRIVE_AT["vigour"]], multiplier)

    def _lime(self, s: State, u: Floats) -> Floats:
        """Lime flow [L/h] from the pH loop, which sees the probe's reading only."""
        reading = self.react.ph[:, c.LIMING] + u[:, DRIVE_AT["probe_bias"]]
        error = np.clip(u[:, DRIVE_AT["ph_setpoint"]] - reading, -1.0, 1.0)
        free = (u[:, DRIVE_AT["hold"]] < 0.5) & (u[:, DRIVE_AT["rate"]] > 0.25)
        s.integral[:] = np.where(
            free, np.clip(s.integral + p.STEP_H / 0.23 * error, -0.7, 0.9), s.integral
        )
        s.lime_ratio[:] = np.where(free, np.clip(1.0 + error + s.integral, 0.1, 2.2), s.lime_ratio)
        lime = p.LIME_L_H * s.lime_ratio * u[:, DRIVE_AT["rate"]]
        self.trace[:, 5] = lime
        return lime

    def _front(self, s: State, u: Floats, volume: Floats, lime: Floats) -> None:
        fresh = p.FEED_M3_H * u[:, DRIVE_AT["rate"]]
        flow, limed = fresh, fresh + 0.001 * lime
        if self.filters:
            back = self.filters.give(s, u[:, DRIVE_AT["rate"]])
            limed = limed + back
            flow = fresh + back if self.filters.to_mixed else fresh
            self.trace[:, 12] = back
        level = 100.0 * volume[:, c.LIMING] / self.plant.liming_m3
        out = np.maximum(limed + 3.0 * (level - p.LIMING_LEVEL_PCT), 0.0)
        volume[:, c.LIMING] += p.STEP_H * (limed - out)
        self.inflow[:, c.PRIMARY] = flow
        self.inflow[:, c.LIMING] = limed
        self.gain[:, c.LIMING] = flow / np.maximum(limed, 1e-9)
        self.inflow[:, c.SECONDARY] = out
        self.inflow[:, c.FLASH] = out * (1.0 - c.FLASH_SHARE)
        trace = self.trace
        trace[:, 0] = fresh
        trace[:, 1] = out * (1.0 - c.FLASH_SHARE)
        trace[:, 6] = level
        trace[:, 10] = fresh * u[:, c.SUCROSE]

    def _mud(self, u: Floats, volume: Floats, feed: Floats) -> tuple[Floats, Floats]:
        """Inflow and underflow of the mud zone [m3/h]; moves its volume."""
        held = volume[:, c.MUD]
        wanted = 0.01 * self.plant.mud_m3 * u[:, DRIVE_AT["mud_level"]]
        growth = np.clip(2.0 * (wanted - held), -40.0, 16.0)
        # Mud builds up only while juice comes in.
        growth = np.where((growth > 0.0) & (feed < 50.0), 0.0, growth)
        under = p.MUD_FLOW_M3_H / p.SETTLER_FEED_M3_H * feed * u[:, DRIVE_AT["underflow"]]
        inflow = under + np.maximum(growth, 0.0)
        out = under - np.minimum(growth, 0.0)
        volume[:, c.MUD] += p.STEP_H * growth
        return inflow, out

    def _room(self, volume: Floats) -> Floats | float:
        """Room of the clear zone [m3]: its size at the usual mud level, less what mud took."""
        if not self.mud_takes_room:
            return self.plant.settler_m3
        usual = 0.01 * p.MUD_LEVEL_PCT * self.plant.mud_m3
        return np.asarray(self.plant.settler_m3 - (volume[:, c.MUD] - usual))

    def _settler(self, s: State, u: Floats, volume: Floats) -> None:
        feed = self.inflow[:, c.FLASH]
        to_mud, under = self._mud(u, volume, feed)
        full = self._room(volume)
        held = volume[:, c.CLEAR_FIRST : c.SLOW + 1].sum(axis=1)
        drain = u[:, DRIVE_AT["drain"]] * np.clip((held / full - 0.1) * 20.0, 0.0, 1.0)
        new = np.minimum(held + p.STEP_H * (feed - to_mud - drain), full)
        fill = (new - held) / p.STEP_H + drain
        volume[:, c.CLEAR_FIRST : c.SLOW + 1] = new[:, None] * self.shares
        moving, slow = self.shares[0] * fill, self.shares[-1] * fill
        flow = feed - to_mud - moving
        self.inflow[:, c.CLEAR_FIRST] = feed
        self.inflow[:, c.CLEAR_SECOND] = flow
        flow = flow - moving - slow
        for cell in (6, 7, 8):
            self.inflow[:, cell] = flow
            flow = flow - moving
        self.exchange = c.EXCHANGE_M3_H * (new > 0.15 * full)
        self.inflow[:, c.SLOW] = np.maximum(slow, 0.0) + self.exchange
        if self.mud_takes_room:
            # A clear zone that loses room presses its slow part out into the moving one.
            self.exchange = self.exchange + np.maximum(-slow, 0.0)
        self.inflow[:, c.MUD] = to_mud
        self.inflow[:, c.TANK] = np.maximum(flow, 0.0)
        trace = self.trace
        trace[:, 2] = under
        trace[:, 3] = self.inflow[:, c.TANK]
        trace[:, 7] = 100.0 * new / full
        trace[:, 8] = 100.0 * volume[:, c.MUD] / self.plant.mud_m3
        lost_under = under * self.filters.cake_share if self.filters else under
        trace[:, 11] = lost_under * s.x[c.SUCROSE, :, c.MUD] + drain * (
            s.x[c.SUCROSE, :, c.CLEAR_FIRST : c.SLOW + 1] @ self.shares
        )

    def _back(self, s: State, u: Floats, volume: Floats) -> None:
        over = self.inflow[:, c.TANK]
        s.tank_draw += (p.STEP_H / 0.4) * (over - s.tank_draw)
        level = 100.0 * volume[:, c.TANK] / self.plant.clear_tank_m3
        push = np.clip(4.0 * (level - u[:, DRIVE_AT["tank_level"]]), -45.0, 60.0)
        out = np.maximum(s.tank_draw + push, 0.0) * np.clip((level - 7.0) / 3.0, 0.0, 1.0)
        volume[:, c.TANK] += p.STEP_H * (over - out)
        gain = u[:, DRIVE_AT["evaporator_gain"]]
        self.inflow[:, c.HEATER] = out
        new = 0.01 * self.plant.evaporator_m3 * u[:, DRIVE_AT["evaporator_level"]]
        before = volume[:, c.EVAPORATOR].copy()
        # A standing evaporator keeps its level.
        new = np.where(out > 30.0, new, before)
        self.inflow[:, c.EVAPORATOR] = out / gain
        self.gain[:, c.EVAPORATOR] = gain
        volume[:, c.EVAPORATOR] = new
        syrup = out / gain - (new - before) / p.STEP_H
        self.trace[:, 4] = out
        self.trace[:, 9] = level
        self.trace[:, 11] += syrup * s.x[c.SUCROSE, :, c.EVAPORATOR]

    def _transport(self, s: State, u: Floats, volume: Floats) -> None:
        x = s.x
        inlet = x[:, :, c.UPSTREAM]
        inlet[:, :, c.PRIMARY] = u[:, : c.SPECIES].T
        inlet[: c.TEMP] *= self.gain
        inlet[c.ALKALI, :, c.EVAPORATOR] -= self.vapour_meq_l * self.gain[:, c.EVAPORATOR]
        if self.filters:
            self.filters.mix(s, inlet, self.trace[:, 0], self.inflow[:, c.LIMING])
            self.filters.take(s, self.trace[:, 2])
        inlet[c.TEMP] -= c.PIPE_LOSS_K
        # The slow part of the settler gives back what it takes.
        swap = (p.STEP_H * self.exchange / volume[:, c.CLEAR_SECOND]) * (
            x[:, :, c.SLOW] - x[:, :, c.CLEAR_SECOND]
        )
        x += (p.STEP_H * self.inflow / volume) * (inlet - x)
        x[:, :, c.CLEAR_SECOND] += swap

    def _heat(self, s: State, u: Floats) -> None:
        temp = s.x[c.TEMP]
        self.target[:, c.PRIMARY] = u[:, DRIVE_AT["temp_primary"]]
        self.target[:, c.SECONDARY] = u[:, DRIVE_AT["temp_secondary"]]
        self.target[:, c.HEATER] = u[:, DRIVE_AT["temp_heater"]]
        self.target[:, c.EVAPORATOR] = u[:, DRIVE_AT["temp_evaporator"]]
        # Steam is shut when juice stands: heated cells then drift towards 80 degC.
        running = np.clip(self.inflow / 60.0, 0.0, 1.0)
        pull = self.lag * (0.03 + 0.97 * running)
        idle = np.minimum(80.0, self.target)
        temp += pull * (idle + (self.target - idle) * running - temp)
        temp[:, c.FLASH] = np.minimum(temp[:, c.FLASH], u[:, DRIVE_AT["temp_flash"]])
        loss = self.cooling * u[:, DRIVE_AT["cooling"]][:, None]
        temp -= p.STEP_H * loss * (temp - 30.0) / 67.0


def integrate(
    plant: PlantParameters,
    state: State,
    matrix: Floats,
    *,
    keep: frozenset[int] = frozenset(),
    contents: bool = False,
) -> Run:
    """Integrate all lanes through a driving matrix.

    Parameters
    ----------
    plant : PlantParameters
        The station.
    state : State
        Where it starts; not changed.
    matrix : array, shape (T, L, 27)
        Driving series (`drive_matrix`) of each lane.
    keep : frozenset of int
        Steps before which the first lane's state is put aside.
    contents : bool
        Whether to write down every cell's contents.

    Returns
    -------
    Run
    """
    steps, lanes, _ = matrix.shape
    now = state.copy()
    engine = Integrator(plant, lanes)
    engine.react.refresh(now)
    trace = np.empty((steps, lanes, len(TRACE_COLUMNS)))
    destroyed = np.empty((steps, lanes, len(c.zones_of(plant))))
    book = np.empty((steps if contents else 0, c.SPECIES, lanes, c.CELLS), dtype=np.float32)
    filtrate = np.zeros((steps if contents and engine.filters else 0, c.SPECIES + 1))
    kept: dict[int, State] = {}
    for i in range(steps):
        if i in keep:
            kept[i] = now.copy()
        lost = engine.step(now, matrix[i])
        trace[i] = engine.trace
        destroyed[i, :, : len(c.ZONES)] = lost @ c.ZONE_OF_CELL
        if engine.filters:
            destroyed[i, :, -1] = engine.filters.destroyed_kg_h
        if contents:
            book[i] = now.x
        if len(filtrate):
            filtrate[i] = tank(now)[:, 0]
    return Run(trace, destroyed, book.astype(np.float64), filtrate, kept, now)
