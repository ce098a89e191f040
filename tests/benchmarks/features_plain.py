"""The features once more, with plain columns and a loop over minutes: what a season is set beside.

It shares the formulas for juice and rates and the smoothing of levels; carrying parcels it does by
itself.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from features.base.station import Station, Vessel
from features.flow.expansion import as_fed
from features.flow.mud import _MUD_LEVEL_MIN, _SOUREST
from features.flow.nominal import (
    souring_1_min,
    target_concentration,
    usual_flow_m3_h,
)
from features.flow.tracks import running_mean, smooth
from features.flow.train import _EXPANSION_MIN
from features.flow.transport import edges_from_means
from features.juice.juice import sucrose_content_kg_m3
from features.kinetics.acid import ph_after_acid
from features.kinetics.kinetics import (
    inversion_1_min,
    ph_at_process,
    rs_destruction_1_h,
    temp_factor,
)
from features.kinetics.loss import concentration_ratio

try:
    import pandas as pd
except ImportError:
    pd = None

DAY_MIN = 1440


class Plain:
    """The same physics, one minute after the other, for a grid without gaps or stops."""

    def __init__(self, grid: pl.DataFrame, station: Station) -> None:
        self.station, self.frame = station, pd.DataFrame(grid.to_dict(as_series=False))
        self.zones: list = []
        self.n = len(self.frame)

    def read(self, quantity: str, place: str, ports: tuple[str, ...], target: float):
        for port in ports:
            signal = self.station.signal(quantity, place, port)
            if signal is not None and signal.name in self.frame:
                return self.frame[signal.name].to_numpy(dtype=float)
        return np.full(self.n, float(target))

    def run(self):
        station, targets = self.station, self.station.targets
        kinds = {v.kind for v in station.vessels}
        assert "settler" in kinds, "the plain version knows a train with one settler"
        zero = np.zeros(self.n)
        flow = np.maximum(self.read("flow", "mixed_juice", ("",), 0.0), 0.0)
        purity = targets.purity_pct
        if "purity_mixed_juice_pct" in self.frame:
            purity = self.frame["purity_mixed_juice_pct"].to_numpy()
        self.limed = self.read("ph", "liming_tank", ("out",), targets.ph_limed)
        self.clear = self.read("ph", "settler", ("out",), targets.ph_clear)
        parcel = {
            "brix": self.read("brix", "mixed_juice", ("",), targets.brix_pct),
            "purity": np.full(self.n, purity) if np.isscalar(purity) else purity,
            "ph": self.read("ph", "mixed_juice", ("",), targets.ph_mixed),
            "ph_limed": self.limed,
            "juice_known": zero + 1.0,
            "ph_known": zero + 1.0,
            "limed_known": zero + 1.0,
            "soured": zero,
            "to_fall": zero,
        }
        self.before = self.read("temperature", "mixed_juice", ("",), targets.temp_mixed_degc)
        flow = flow * as_fed(station, self.before)
        self.doses = dict.fromkeys(
            ("minutes", "exposure", "inversion", "inverted_limed", "rs_limed"), zero
        )
        region = "mixed"
        for vessel in sorted(station.vessels, key=lambda v: v.step):
            region = {"liming_tank": "liming", "settler": "settler"}.get(vessel.kind, region)
            flow, parcel = self.vessel(vessel, region, flow, parcel)
            if region == "liming":
                self.doses |= {"inverted_limed": zero, "rs_limed": zero}
                parcel, region = (
                    parcel | {"ph": self.limed, "ph_limed": self.limed, "soured": zero},
                    "limed",
                )
            elif region == "settler":
                parcel, region = parcel | {"ph": self.clear, "soured": zero}, "clear"
        return pd.concat(self.zones, ignore_index=True)

    def vessel(self, vessel: Vessel, region: str, flow, parcel):
        station = self.station
        heater = vessel.kind in ("heater", "clear_juice_heater")
        ports = ("out", "inside", "") if heater else ("inside", "out", "", "in")
        temp = self.read("temperature", vessel.name, ports, vessel.temp_degc)
        level = self.read("level", vessel.name, ("", "inside", "out", "in"), vessel.level_pct)
        volume = np.maximum(level, 0.0) / 100.0 * vessel.volume_m3 * (1.0 - vessel.dead_fraction)
        brix = None
        if any(station.signal("flow", vessel.name, port) is not None for port in ("in", "")):
            flow = np.maximum(self.read("flow", vessel.name, ("in", ""), 0.0), 0.0)
            flow = flow * as_fed(station, self.before)
        self.before = temp
        hot = as_fed(station, running_mean(temp, _EXPANSION_MIN))
        inside = flow
        if vessel.brix_pct is not None:
            brix = self.read("brix", vessel.name, ("inside", "out", "", "in"), vessel.brix_pct)
            thicker = concentration_ratio(brix, np.maximum(parcel["brix"], 0.1), temp)
            inside = flow / np.maximum(thicker, 1.0)
        usual = usual_flow_m3_h(station, vessel)
        drawn = np.zeros(self.n)
        if vessel.kind == "settler":
            parcel = parcel | {"to_fall": np.ones(self.n)}
        smoothed, mud = smooth(volume), None
        if vessel.kind == "settler" and vessel.mud_volume_m3 > 0.0:
            mud, room = self.mud_held(vessel, flow)
            volume, smoothed, drawn = volume * room, smoothed * room, mud["inflow"]
        probe = self.limed if region == "liming" else self.clear
        souring = None
        if region != "liming":
            souring = np.asarray(souring_1_min(station, temp))
        tanks = max(vessel.tanks, 1)
        edges = edges_from_means(smoothed * hot) / tanks
        zone = {"temp": temp, "brix": brix, "volume": volume, "tanks": tanks, "probe": probe,
                "region": region, "fall_min": vessel.ph_fall_min, "shift": vessel.ph_shift,
                "usual": usual / target_concentration(station, vessel)}  # fmt: skip
        out, parcel_out, first = self.cells(
            vessel.name, zone, inside, parcel, edges, drawn * hot, souring
        )
        if mud is not None:
            self.mud(vessel, zone, first, mud)
        if self.station.signal("flow", vessel.name, "out") is not None:
            out = np.maximum(self.read("flow", vessel.name, ("out",), 0.0), 0.0)
            out = out * as_fed(
                station,
                self.read("temperature", vessel.name, ("out",), 0.0)
                if station.signal("temperature", vessel.name, "out")
                else temp,
            )
        return out, parcel_out | ({} if brix is None else {"brix": brix})

    def mud_held(self, vessel: Vessel, flow):
        """Mud of a settler, and the room it leaves to the juice: while juice stands, no other."""
        drawn = np.maximum(self.read("flow", vessel.name, ("mud",), vessel.mud_flow_m3_h), 0.0)
        level = self.read("mud_level", vessel.name, ("mud", "", "inside"), vessel.mud_level_pct)
        volume = np.maximum(level, 0.0) / 100.0 * vessel.mud_volume_m3
        held = running_mean(volume, _MUD_LEVEL_MIN)
        usual = vessel.mud_volume_m3 * vessel.mud_level_pct / 100.0
        room = np.maximum(1.0 - (held - usual) / vessel.volume_m3, 0.1)
        flowed = False
        for t in range(self.n):
            if flow[t] > 0.0:
                flowed = True
            elif flowed:
                room[t] = room[t - 1]
        edges = edges_from_means(held)
        inflow = np.maximum(drawn + 60.0 * np.diff(edges), 0.0)
        return {"volume": volume, "edges": edges, "inflow": inflow}, room

    def mud(self, vessel: Vessel, settler: dict, parcel, held: dict) -> None:
        temp = self.read("temperature", vessel.name, ("mud",), vessel.temp_degc)
        edges, inflow = held["edges"], held["inflow"]
        drop = self.mud_drop(vessel, inflow, edges)
        zone = settler | {"temp": temp, "volume": held["volume"], "tanks": 1,
                          "probe": self.clear - drop, "region": "mud",
                          "usual": vessel.mud_flow_m3_h}  # fmt: skip
        self.cells(f"{vessel.name}:mud", zone, inflow, parcel, edges, np.zeros(self.n), None)

    def mud_drop(self, vessel: Vessel, inflow, edges):
        """How far the pH of mud lies below that of clear juice: acid made and faded, minute by
        minute, at the pace that gives the drop described at target."""
        target = self.station.targets.ph_clear
        renewed = 0.6 * vessel.mud_volume_m3 * vessel.mud_level_pct / vessel.mud_flow_m3_h
        at_target = 3.0**vessel.mud_ph_drop - 1.0
        most = renewed * max((3.0 ** (target - _SOUREST) - 1.0) / at_target - 1.0, 0.5)
        usual = 1.0 / (1.0 / renewed + 1.0 / most)
        acid, found = usual, np.empty(self.n)
        for t in range(self.n):
            leaving = inflow[t] / (0.5 * (edges[t] + edges[t + 1])) / 60.0 + 1.0 / most
            acid = np.exp(-leaving) * acid + (1.0 - np.exp(-leaving)) / leaving
            found[t] = acid
        per_acid = at_target / np.log(3.0) * 3.0 ** (7.0 - target)
        return target - ph_after_acid(target, per_acid * found / usual)

    def cells(self, name, zone, flow, parcel, edges, drawn, souring):
        """Carry every signal through the tanks of a zone; keep its columns."""
        kinetics, temp = self.station.kinetics, zone["temp"]
        clock = np.arange(self.n) + 0.5
        entry, square = clock, clock**2 + 1.0 / 12.0
        ages = [60.0 * edges[0] / max(zone["usual"] - (drawn[0] if k else 0.0), 1e-9)
                for k in range(zone["tanks"])]  # fmt: skip
        first_entry, first_square = -ages[0], 2.0 * ages[0] ** 2
        heat, exposure = temp_factor(temp), np.zeros(self.n)
        contents, flows, brought = [], [], parcel["soured"]
        for number, age in enumerate(ages):
            if number:
                mean = first_entry - age
                first_square = mean**2 + (first_square - first_entry**2) + age**2
                first_entry = mean
            kept = parcel
            parcel = {k: carry(v, v[0], flow, edges) for k, v in kept.items()}
            if zone["region"] == "settler":
                parcel["to_fall"] = faded(kept["to_fall"], age, flow, edges, zone["fall_min"])
            entry = carry(entry, first_entry, flow, edges)
            square = carry(square, first_square, flow, edges)
            exposure = taken_up(exposure, heat, age, flow, edges)
            flows.append(flow)
            flow = flow - 60.0 * np.diff(edges) - (drawn if number == 0 else 0.0)
            flow = np.maximum(flow, 0.0)
            contents.append(parcel)
        if souring is not None:
            self.sour(zone, contents, flows, (brought, souring, ages, edges))
        phs = self.ph(zone, contents)
        for content, ph, age, inflow in zip(contents, phs, ages, flows, strict=True):
            self.take_up(zone, content, ph, (age, inflow, edges))
        first = contents[0]
        brix = (
            np.mean([c["brix"] for c in contents], axis=0) if zone["brix"] is None else zone["brix"]
        )
        ph = np.mean(phs, axis=0)
        hot = ph_at_process(ph, temp, kinetics.ph_slope, kinetics.ph_ref_degc)
        shift = ph_at_process(0.0, temp, kinetics.ph_slope, kinetics.ph_ref_degc)
        acidity = np.mean([10.0**-p for p in phs], axis=0)
        rate = 60.0 * acidity * inversion_1_min(shift, temp, brix)
        purity = np.mean([c["purity"] for c in contents], axis=0)
        held = zone["volume"] * sucrose_content_kg_m3(brix, purity, temp)
        destroyed = rs_destruction_1_h(ph, temp, kinetics.rs_rate_ph7_1_h) * held
        variance = square - entry**2 - 1.0 / 12.0
        self.zones.append(pd.DataFrame({
            "zone": name, "temp_degc": temp, "ph_cold": ph, "ph_hot": hot, "brix_pct": brix,
            "volume_m3": zone["volume"], "sucrose_held_kg": held, "inversion_1_h": rate,
            "loss_kg_h": rate * held, "residence_min": clock - entry,
            "rs_destroyed_kg_h": destroyed * kinetics.rs_per_sucrose_pct / 100.0,
            "residence_sd_min": np.sqrt(np.maximum(variance, 0.0)), "exposure_eqmin100": exposure,
        }))  # fmt: skip
        return flow, parcel, first

    def take_up(self, zone, parcel, ph, tank) -> None:
        """Doses of the train; the mud takes them up too, but its juice goes another way."""
        kinetics, temp = self.station.kinetics, zone["temp"]
        brix = parcel["brix"] if zone["brix"] is None else zone["brix"]
        hot = ph_at_process(ph, temp, kinetics.ph_slope, kinetics.ph_ref_degc)
        inverting = inversion_1_min(hot, temp, brix)
        rates = {
            "minutes": np.ones(self.n),
            "exposure": temp_factor(temp),
            "inversion": inverting,
            "inverted_limed": inverting,
            "rs_limed": rs_destruction_1_h(ph, temp, kinetics.rs_rate_ph7_1_h) / 60.0,
        }
        grown = {name: taken_up(self.doses[name], rates[name], *tank) for name in rates}
        if zone["region"] != "mud":
            self.doses = grown

    def sour(self, zone, contents, flows, way) -> None:
        """Acid made, tank by tank: first as juice does by itself, then twice at the pH found."""
        brought, souring, ages, edges = way
        at_ph7 = np.zeros(self.n)
        for content, flow, age in zip(contents, flows, ages, strict=True):
            at_ph7 = taken_up(at_ph7, souring, age, flow, edges)
            begun = content["ph"] - content["soured"]
            content["soured"] = content["soured"] + begun - ph_after_acid(begun, at_ph7)
        for _ in range(2):
            came = brought
            for content, ph, flow, age in zip(
                contents, self.ph(zone, contents), flows, ages, strict=True
            ):
                came = taken_up(came, souring * 3.0 ** (ph - 7.0), age, flow, edges)
                content["soured"] = came

    def ph(self, zone, contents):
        if zone["region"] in ("liming", "mud"):
            return [zone["probe"]] * len(contents)
        by_itself = [c["ph"] - c["soured"] for c in contents]
        if zone["region"] != "settler":
            return [ph + zone["shift"] for ph in by_itself]
        whole = (by_itself[-1] - zone["probe"]) / (1.0 - contents[-1]["to_fall"])
        return [
            ph - (1.0 - c["to_fall"]) * whole for ph, c in zip(by_itself, contents, strict=True)
        ]


def faded(signal, age: float, flow, edges, fall_min: float):
    """One stirred tank in which a signal fades, minute by minute."""
    content, out = signal[0] / (1.0 + age / fall_min), np.empty(len(signal))
    for t in range(len(signal)):
        ratio = np.log(edges[t + 1] / edges[t])
        mean = (edges[t + 1] - edges[t]) / ratio if abs(ratio) >= 1e-9 else edges[t]
        fresh = flow[t] / 60.0 / mean
        pace = fresh + 1.0 / fall_min
        toward = signal[t] * fresh / pace
        out[t] = toward + (content - toward) * -np.expm1(-pace) / pace
        content = toward + (content - toward) * np.exp(-pace)
    return out


def carry(signal, start: float, flow, edges):
    """One stirred tank, minute by minute."""
    content, out = float(start), np.empty(len(signal))
    for t in range(len(signal)):
        first, second = max(edges[t], 1e-6), max(edges[t + 1], 1e-6)
        ratio = np.log(second / first)
        mean = (second - first) / ratio if abs(ratio) >= 1e-9 else 0.5 * (first + second)
        fed = flow[t] / 60.0
        gone = fed - (second - first)
        z = gone / mean
        decay = -np.expm1(-z) / z if abs(z) >= 1e-12 else 1.0
        out[t] = signal[t] + (content - signal[t]) * first / mean * decay
        content = signal[t] + (content - signal[t]) * np.exp(-fed / mean)
    return out


def taken_up(dose, rate, age: float, flow, edges):
    """Dose of the juice leaving a tank: running dose now less that at entry."""
    running = np.cumsum(rate) - 0.5 * rate
    return running - carry(running - dose, -(dose[0] + rate[0] * age), flow, edges)
