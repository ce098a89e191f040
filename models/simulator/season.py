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
from models.simulator.effects import apply_events
from models.simulator.events import PlannedEvent, plan_events
from models.simulator.habits import Habits
from models.simulator.hard_events import plan_hard_events
from models.simulator.integrate import Run, integrate
from models.simulator.lab_customs import Customs, Errors
from models.simulator.laboratory import in_local_time, lab_results
from models.simulator.manners import Manners
from models.simulator.observe import Written, export_tags
from models.simulator.parameters import PlantParameters, as_mixed_juice, draw_plant, with_manners
from models.simulator.planted import first_step, planted_tonnes
from models.simulator.truth_series import cold_ph, flows, planted_extras, tag_courses
from models.simulator.truth_table import truth_table

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
        event, kind, cause, zone, start_utc, end_utc, lost_t; one row an event. With habits also
        shape and kin, as `PlannedEvent` has them.
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
    habits : Habits or None
        Of the mill, where it was given any.
    """

    tags: pl.DataFrame
    lab: pl.DataFrame
    truth: pl.DataFrame
    planted: pl.DataFrame
    events: tuple[PlannedEvent, ...]
    parameters: PlantParameters
    balance_kg: dict[str, float]
    habits: Habits | None = None


def simulate_season(
    seed: int,
    weeks: int = 8,
    start_utc: datetime = SEASON_START_UTC,
    parameters: PlantParameters | None = None,
    *,
    with_events: bool = True,
    manners: Manners | None = None,
    habits: Habits | None = None,
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
    manners : Manners, optional
        Bad manners of the plant, in place of those of `parameters`.
    habits : Habits, optional
        Shapes of events, laboratory and recorder of this mill; left out, it has none.

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
    plant = plant if manners is None else with_manners(plant, manners)
    own = np.random.default_rng(np.random.SeedSequence([seed, 43])).spawn(2)
    if habits is None:
        plan = plan_events(streams[0], weeks)
    else:
        filtrate = plant.manners is not None and plant.manners.filtrate_share > 0.0
        plan = plan_hard_events(own[0], weeks, habits, filtrate=filtrate)
    events = plan if with_events else ()
    steps = weeks * 168 * 3600 // p.STEP_S
    base = everyday(
        streams[1], steps, steady=plant.steady, unrest=plant.unrest, manners=plant.manners
    )
    return _season([*streams[2:], own[1]], plant, base, events, start_utc, habits)


def _season(
    streams: Sequence[np.random.Generator],
    plant: PlantParameters,
    base: Drive,
    events: tuple[PlannedEvent, ...],
    start_utc: datetime,
    habits: Habits | None,
) -> Season:
    """Season of a plant whose everyday and events are drawn.

    The streams are those of laboratory, tags and reagents.
    """
    used = habits or Habits()
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
        Customs(
            used,
            len(matrix) * p.STEP_H,
            streams[2],
            Errors().scaled(plant.lab_error),
            plant.lab_gap,
        ),
    )
    courses = tag_courses(run, drive, inner)
    written = Written(
        plant.sampling,
        plant.deadband,
        plant.heartbeat_s,
        recorder=used.recorder,
        fewer_digits=used.fewer_digits,
        quality_told=used.quality_told,
        lacks=used.lacks,
    )
    lost = planted_tonnes(inner, base, events, run)
    return Season(
        tags=export_tags(
            streams[1], courses, events, start_utc, clean=plant.steady, written=written
        ),
        lab=in_local_time(lab, start_utc, MILL_ZONE),
        truth=truth_table(events, lost, start_utc, shapes=habits is not None),
        planted=_planted(run, ph, planted_extras(run, drive, inner), start_utc),
        events=events,
        parameters=plant,
        balance_kg=_balance(run, held_start),
        habits=habits,
    )


def _run_in_and_go(
    plant: PlantParameters, matrix: Floats, events: tuple[PlannedEvent, ...]
) -> tuple[Run, float]:
    """Integrate lane 0; put aside the state at the start of each event."""
    still = np.repeat(matrix[:1], int(_RUN_IN_H / p.STEP_H), axis=0)
    begin = integrate(plant, c.fresh_state(plant, matrix[0, 0, : c.SPECIES]), still).last
    keep = frozenset(first_step(e) for e in events)
    return integrate(plant, begin, matrix, keep=keep, contents=True), c.held_kg(begin)


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
