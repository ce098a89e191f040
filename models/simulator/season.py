"""A whole simulated season: what the mill would export, and what truly happened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.disturb import Drive, everyday
from models.simulator.drive import drive_matrix
from models.simulator.effects import EXPORT_ONLY, apply_events
from models.simulator.events import MIN_GAP_H, PlannedEvent, plan_events
from models.simulator.integrate import Run, integrate
from models.simulator.laboratory import Errors, in_local_time, lab_results
from models.simulator.observe import Written, export_tags
from models.simulator.parameters import PlantParameters, as_mixed_juice, draw_plant
from models.simulator.truth_series import cold_ph, flows, planted_extras, tag_courses

Floats = NDArray[np.float64]

#: Local midnight at the invented mill.
SEASON_START_UTC = datetime(2025, 10, 6, 5, 0, tzinfo=UTC)
MILL_ZONE = "America/Chicago"
#: Hours of nominal running before the season, so that every vessel is in step.
_RUN_IN_H = 12.0


@dataclass(frozen=True, slots=True)
class Season:
    """Everything about one simulated season.

    Attributes
    ----------
    tags : polars.DataFrame
        time (UTC), tag, value, quality.
    lab : polars.DataFrame
        sampled (local text), point_analyte, result (text).
    truth : polars.DataFrame
        event, kind, cause, zone, start_utc, end_utc, lost_t; one row an event.
    planted : polars.DataFrame
        Hidden five-minute means: ts_utc, fed_kg_h, destroyed_kg_h (also by zone as
        ``destroyed_<zone>_kg_h``), ph_limed_true, ph_clear_true, ph_mud_true; with bad manners
        also `truth_series.planted_extras`.
    events : tuple of PlannedEvent
        The plan behind the truth table.
    parameters : PlantParameters
        The hidden station.
    balance_kg : dict of str to float
        Sucrose over the season [kg]: fed, left, destroyed, held_start, held_end.
    """

    tags: pl.DataFrame
    lab: pl.DataFrame
    truth: pl.DataFrame
    planted: pl.DataFrame
    events: tuple[PlannedEvent, ...]
    parameters: PlantParameters
    balance_kg: dict[str, float]


def simulate_season(
    seed: int,
    weeks: int = 8,
    start_utc: datetime = SEASON_START_UTC,
    parameters: PlantParameters | None = None,
    *,
    with_events: bool = True,
) -> Season:
    """Simulate a season of the invented station.

    Parameters
    ----------
    seed : int
        Non-negative seed; the same seed gives the same season, byte for byte.
    weeks : int
        Length [weeks], at least 1.
    start_utc : datetime
        First moment, with time zone.
    parameters : PlantParameters, optional
        Hidden station; drawn from the seed when left out. ``PlantParameters()`` is the
        demonstration mill.
    with_events : bool
        False gives a season of ordinary unrest only.

    Returns
    -------
    Season

    Raises
    ------
    ValueError
        When `weeks` is below 1 or `start_utc` carries no time zone.
    """
    if start_utc.tzinfo is None:
        raise ValueError("start_utc has no time zone; give it one, such as datetime.UTC")
    streams = np.random.default_rng(np.random.SeedSequence([seed, 7])).spawn(4)
    plant = draw_plant(seed) if parameters is None else parameters
    plan = plan_events(streams[0], weeks)
    events = plan if with_events else ()
    steps = weeks * 168 * 3600 // p.STEP_S
    base = everyday(
        streams[1], steps, steady=plant.steady, unrest=plant.unrest, manners=plant.manners
    )
    return _season(streams[2:], plant, base, events, start_utc)


def _season(
    streams: Sequence[np.random.Generator],
    plant: PlantParameters,
    base: Drive,
    events: tuple[PlannedEvent, ...],
    start_utc: datetime,
) -> Season:
    """Season of a plant whose everyday and events are drawn; streams of laboratory and tags."""
    inner = as_mixed_juice(plant)
    drive = apply_events(base, events, 0, len(base["rate"]))
    matrix = drive_matrix(drive, inner)[:, None, :]
    run, held_start = _run_in_and_go(inner, matrix, events)
    ph = np.column_stack([cold_ph(run, inner), drive["ph_mixed"]])
    lab = lab_results(
        streams[0],
        matrix[:, 0, : c.SPECIES],
        run.contents[:, :, 0, :],
        ph,
        drive["rate"],
        events,
        Errors().scaled(plant.lab_error),
        plant.lab_gap,
    )
    courses = tag_courses(run, drive, inner)
    written = Written(plant.sampling, plant.deadband, plant.heartbeat_s)
    return Season(
        tags=export_tags(
            streams[1], courses, events, start_utc, clean=plant.steady, written=written
        ),
        lab=in_local_time(lab, start_utc, MILL_ZONE),
        truth=_truth(events, planted_tonnes(inner, base, events, run), start_utc),
        planted=_planted(run, ph, planted_extras(run, drive, inner), start_utc),
        events=events,
        parameters=plant,
        balance_kg=_balance(run, held_start),
    )


def _run_in_and_go(
    plant: PlantParameters, matrix: Floats, events: tuple[PlannedEvent, ...]
) -> tuple[Run, float]:
    """Integrate lane 0; put aside the state at the start of each event."""
    still = np.repeat(matrix[:1], int(_RUN_IN_H / p.STEP_H), axis=0)
    begin = integrate(plant, c.fresh_state(plant, matrix[0, 0, : c.SPECIES]), still).last
    keep = frozenset(_first_step(e) for e in events)
    return integrate(plant, begin, matrix, keep=keep, contents=True), c.held_kg(begin)


def _first_step(event: PlannedEvent) -> int:
    return int(event.start_h / p.STEP_H)


def _window_steps(event: PlannedEvent) -> int:
    return int((event.end_h + MIN_GAP_H - event.start_h) / p.STEP_H)


def planted_tonnes(
    plant: PlantParameters, base: Drive, events: tuple[PlannedEvent, ...], run: Run
) -> list[float]:
    """Sucrose that each event destroyed beyond what its own season would have lost [t].

    Parameters
    ----------
    plant : PlantParameters
        The station.
    base : dict of str to array, shape (T,)
        Everyday series.
    events : tuple of PlannedEvent
        All events of the season.
    run : Run
        The season with all events; its first lane is the "with".

    Returns
    -------
    list of float
        ``D_with - D_without F_with / F_without`` from start to end plus 8 h, where D is sucrose
        destroyed and F sucrose fed, and "without" leaves out this one event. The 8 h let the
        station wash out and hold no other event, whose loss the ratio of the feeds would split
        wrongly. Exactly 0 for events of the export only.
    """
    acting = [e for e in events if e.cause not in EXPORT_ONLY]
    lost = {e.number: 0.0 for e in events}
    if acting:
        steps = max(_window_steps(e) for e in acting)
        lanes = []
        for event in acting:
            others = [e for e in events if e.number != event.number]
            lanes.append(drive_matrix(apply_events(base, others, _first_step(event), steps), plant))
        start = c.stack([run.kept[_first_step(e)] for e in acting])
        without = integrate(plant, start, np.stack(lanes, axis=1))
        for lane, event in enumerate(acting):
            lost[event.number] = _difference_t(event, run, without, lane)
    return [lost[e.number] for e in events]


def _difference_t(event: PlannedEvent, run: Run, without: Run, lane: int) -> float:
    first, steps = _first_step(event), len(run.trace)
    count = min(_window_steps(event), steps - first)
    fed = 10
    d_with = run.destroyed_kg_h[first : first + count, 0].sum()
    f_with = run.trace[first : first + count, 0, fed].sum()
    d_without = without.destroyed_kg_h[:count, lane].sum()
    f_without = without.trace[:count, lane, fed].sum()
    return float((d_with - d_without * f_with / f_without) * p.STEP_H / 1000.0)


def _truth(
    events: tuple[PlannedEvent, ...], lost: list[float], start_utc: datetime
) -> pl.DataFrame:
    hours = pl.DataFrame(
        {
            "event": [e.number for e in events],
            "kind": [e.kind for e in events],
            "cause": [e.cause for e in events],
            "zone": [e.zone for e in events],
            "start_utc": [round(e.start_h * 3600) * 1_000_000 for e in events],
            "end_utc": [round(e.end_h * 3600) * 1_000_000 for e in events],
            # Adding zero turns a rounded -0.0 into 0.0.
            "lost_t": [round(t, 4) + 0.0 for t in lost],
        },
        schema_overrides={
            "event": pl.Int64,
            "kind": pl.String,
            "cause": pl.String,
            "zone": pl.String,
            "start_utc": pl.Int64,
            "end_utc": pl.Int64,
            "lost_t": pl.Float64,
        },
    )
    when = pl.col("start_utc", "end_utc").cast(pl.Duration("us"))
    return hours.with_columns(when + pl.lit(start_utc))


def _planted(run: Run, ph: Floats, extras: dict[str, Floats], start_utc: datetime) -> pl.DataFrame:
    each = 300 // p.STEP_S
    rows = len(run.trace) // each

    def mean(series: Floats) -> Floats:
        return np.asarray(series[: rows * each].reshape(rows, each).mean(axis=1))

    at = np.arange(rows) * 300_000_000
    columns: dict[str, Floats] = {
        "fed_kg_h": mean(flows(run)["fed"]),
        "destroyed_kg_h": mean(run.destroyed_kg_h[:, 0].sum(axis=1)),
    }
    for i, zone in enumerate(c.ZONES):
        columns[f"destroyed_{zone}_kg_h"] = mean(run.destroyed_kg_h[:, 0, i])
    columns["ph_limed_true"] = mean(ph[:, c.LIMING])
    columns["ph_clear_true"] = mean(ph[:, c.CLEAR_LAST])
    columns["ph_mud_true"] = mean(ph[:, c.MUD])
    columns |= {name: mean(series) for name, series in extras.items()}
    times = pl.DataFrame({"ts_utc": at}).select(
        pl.col("ts_utc").cast(pl.Duration("us")) + pl.lit(start_utc)
    )
    return pl.concat([times, pl.DataFrame(columns)], how="horizontal")


def _balance(run: Run, held_start: float) -> dict[str, float]:
    flow = flows(run)
    return {
        "fed": float(flow["fed"].sum() * p.STEP_H),
        "left": float(flow["left"].sum() * p.STEP_H),
        "destroyed": float(run.destroyed_kg_h[:, 0].sum() * p.STEP_H),
        "held_start": held_start,
        "held_end": c.held_kg(run.last),
    }
