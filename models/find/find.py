"""The whole search: derived minutes and laboratory results in, ranked findings out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Station, polars_schema
from models.account import (
    CALIBRATION,
    Driven,
    Note,
    calibrations,
    known_notices,
    with_calibrations,
)
from models.amount import (
    Multiplier,
    ProbeBias,
    chemical_balance,
    lab_points,
    ordinary_balance,
    ph_standing_error,
    split_excess,
    zones_between,
)
from models.base import (
    MINUTES_PER_BLOCK,
    Array,
    Minutes,
    Settings,
    block_means,
    in_order,
    nan_sum,
    to_minutes,
)
from models.cause import (
    LabCheck,
    SensorFault,
    corroborate,
    daily_frame,
    find_notices,
    published_pct,
    with_faults,
)
from models.detect import (
    SHARPNESS_COLUMNS,
    UNCALIBRATED_COLUMNS,
    Candidate,
    Channel,
    Context,
    MicrobialSpan,
    at_its_vessel,
    drifting_hours,
    find_candidates,
    find_microbial,
    find_unexplained,
    loss_channels,
    lrv_ratios,
    residual_vectors,
    running_only,
    stop_runs,
    uncalibrated_of,
    with_company,
    with_stops,
    witness_of,
)
from models.find.noted import (
    method_changes,
    probe_truth,
    with_unexplained,
    within,
    without_planned,
)
from models.find.rows import WholeLoss, candidate_row, microbial_row, ranked
from models.find.series import minute_series
from models.level import (
    COURSE_COLUMNS,
    METHOD_COLUMNS,
    course_of,
    fit_level,
    level_samples,
    methods_of,
    zone_shares,
)
from models.search import Residual, cells_in, score_blocks, with_marks


@dataclass(frozen=True)
class Losses:
    """Everything the search says.

    Attributes
    ----------
    findings : DataFrame
        Columns of ``models.find.rows.FINDING_COLUMNS``, best first.
    notices : DataFrame
        Columns of ``models.cause.notices.NOTICE_COLUMNS``: odd, but no loss.
    minutes : DataFrame
        Columns of ``LOSS_COLUMNS``: what was not measured counts at its season median.
    multiplier : Multiplier
    daily : DataFrame
        Columns of ``models.cause.lab_check.DAILY_COLUMNS``: loss between limed and clear juice by
        kinetics and by chemistry, the unexplained, and what the ordinary daily balance would see.
    faults : tuple of SensorFault
        Episodes that only one sick sensor spoke for; each is also a notice.
    biases : dict of ProbeBias
        pH probes against the laboratory, by point: ``mixed``, ``limed``, ``clear``.
    cells : int
        Hypotheses looked at, one a channel and six hours; see ``models.search.significance``.
    sharpness : DataFrame
        Columns of ``models.detect.SHARPNESS_COLUMNS``: what each derived feature gains over its raw
        signal.
    uncalibrated : DataFrame
        Columns of ``models.detect.UNCALIBRATED_COLUMNS``, whether anything was found there or not.
    driven : Driven or None
        What each vessel lost each minute and what drove it, for accounts of any period.
    level : DataFrame
        Columns of ``models.level.COURSE_COLUMNS``: the level of the kinetics week by week.
    methods : DataFrame
        Columns of ``models.level.METHOD_COLUMNS``: what analyses are off by.
    """

    findings: pl.DataFrame
    notices: pl.DataFrame
    minutes: pl.DataFrame
    multiplier: Multiplier
    daily: pl.DataFrame
    faults: tuple[SensorFault, ...] = ()
    biases: dict[str, ProbeBias] = field(default_factory=dict)
    cells: int = 1
    sharpness: pl.DataFrame = field(
        default_factory=lambda: pl.DataFrame(schema=polars_schema(SHARPNESS_COLUMNS))
    )
    uncalibrated: pl.DataFrame = field(
        default_factory=lambda: pl.DataFrame(schema=polars_schema(UNCALIBRATED_COLUMNS))
    )
    driven: Driven | None = None
    level: pl.DataFrame = field(
        default_factory=lambda: pl.DataFrame(schema=polars_schema(COURSE_COLUMNS))
    )
    methods: pl.DataFrame = field(
        default_factory=lambda: pl.DataFrame(schema=polars_schema(METHOD_COLUMNS))
    )


def find_losses(
    station_minutes: pl.DataFrame,
    zone_minutes: pl.DataFrame,
    lab: pl.DataFrame,
    station: Station,
    settings: Settings,
    zone: str = "UTC",
    notes: Sequence[Note] = (),
) -> Losses:
    """Search derived minutes for periods of hidden sucrose loss.

    Parameters
    ----------
    station_minutes, zone_minutes : DataFrame
        As ``features.flow.minutes`` makes them: every minute once; rows in any order.
    lab : DataFrame
        Laboratory results: ts_utc, analyte, place, port, value, sd, and period_h where some are of
        composites.
    station : Station
    settings : Settings
    zone : str
        IANA name of the time zone whose midnights part the days of ``Losses.daily``.
    notes : sequence of Note
        What was known beforehand: a probe may step where it was calibrated, and something odd that
        a note explains is told as known. No loss is hidden by a note.

    Returns
    -------
    Losses

    Raises
    ------
    ValueError
        If the minutes have holes.
    """
    vessels = [v.name for v in sorted(station.vessels, key=lambda v: v.step)]
    station_minutes, zone_minutes, lab = in_order(station_minutes, zone_minutes, lab, vessels)
    minutes = to_minutes(station_minutes, zone_minutes)
    found = _search(minutes, lab, station, settings, zone, notes)
    if calibrated := within(calibrations(notes, station), minutes):
        others = [note for note in notes if note.kind != CALIBRATION]
        plain = _search(minutes, lab, station, settings, zone, others)
        findings = with_unexplained(found.findings, plain.findings, calibrated)
        found = replace(found, findings=findings)
    return replace(found, notices=known_notices(found.notices, notes))


def _search(
    minutes: Minutes,
    lab: pl.DataFrame,
    station: Station,
    settings: Settings,
    zone: str,
    notes: Sequence[Note],
) -> Losses:
    """Search minutes without holes, in order."""
    calibrated = within(calibrations(notes, station), minutes)
    settings = settings.at(station.targets)
    points = lab_points(station)
    biases, lab_shift = probe_truth(minutes, lab, points, calibrated)
    # Where a drift began is looked for in the course without steps, which says it more calmly.
    calm = probe_truth(minutes, lab, points)[0] if calibrated else biases
    limed, clear = (
        biases[name].bias if name in biases else np.zeros(minutes.n) for name in ("limed", "clear")
    )
    minutes = replace(minutes, drifting=drifting_hours(calm.get("limed"), minutes))
    balance = chemical_balance(lab, minutes, points, station)
    published = published_pct(minutes, limed, clear)
    bias = {name: probe.bias for name, probe in biases.items()}
    microbial = find_microbial(minutes, lab, station, bias, settings)
    spoilt = [(m.zone, m.start, m.end) for m in microbial]
    samples = level_samples(minutes, lab, station, biases, spoilt)
    level = fit_level(minutes, samples, station, method_changes(notes, minutes))
    multiplier = level.multiplier
    excess = with_stops(split_excess(minutes, station, limed, clear), minutes, station)
    witness = witness_of(calm["limed"], minutes) if "limed" in calm else None
    ph_sd = ph_standing_error(biases)
    channels = loss_channels(minutes, excess, station, multiplier.value, ph_sd, witness)
    reference = multiplier.value * float(np.nanmedian(nan_sum(excess.reference_kg_h)))
    looked: list[tuple[Channel, Residual]] = []
    candidates = find_candidates(minutes, channels, settings, reference, looked)
    candidates = without_planned(candidates, minutes, station, notes)
    context = Context(minutes, station, biases, _quiet(minutes, candidates), lab)
    candidates, faults = corroborate(candidates, excess, context)
    outliers = score_blocks(*_vectors(minutes, context, microbial))
    candidates += find_unexplained(context, excess, multiplier.value, outliers, microbial, settings)
    candidates = with_company([at_its_vessel(running_only(c, minutes), excess) for c in candidates])
    lab_check = LabCheck(
        balance.grabs,
        multiplier.value * published,
        zones_between(station, points),
        ordinary_balance(lab, minutes, station, points),
        context.quiet,
    )
    whole = WholeLoss.of(excess, level, context)
    rows = [
        candidate_row(c, context, excess, level, outliers, lab_check, whole) for c in candidates
    ]
    yield_kg_kg = station.kinetics.sucrose_per_lactic_kg_kg
    rows += [microbial_row(m, minutes, lab_check, yield_kg_kg) for m in microbial]
    cells = cells_in(minutes.n, len(channels))
    claimed = [(c.span.start, c.span.end) for c in candidates] + [(f.start, f.end) for f in faults]
    notices = find_notices(
        minutes, lab, points, lab_shift, station, claimed, multiplier.value * excess.total
    )
    return Losses(
        ranked(with_marks(rows, _chances(candidates, microbial), cells)),
        with_calibrations(with_faults(notices, minutes, faults), minutes, biases, calibrated),
        minute_series(minutes, excess, level, biases),
        multiplier,
        daily_frame(minutes, lab_check, zone),
        tuple(faults),
        biases,
        cells,
        lrv_ratios(minutes, channels, excess, multiplier.value, context.quiet),
        uncalibrated_of(looked),
        Driven(minutes, excess, level, biases),
        course_of(level, minutes.start_utc, zone_shares(minutes)),
        methods_of(level, samples, minutes.start_utc),
    )


def _chances(candidates: list[Candidate], microbial: list[MicrobialSpan]) -> list[float]:
    """Chance of each where nothing is lost."""
    return [c.span.p_value for c in candidates] + [m.p_value for m in microbial]


def _vectors(
    minutes: Minutes, context: Context, microbial: list[MicrobialSpan]
) -> tuple[Array, NDArray[np.bool_]]:
    """Residual vectors of all blocks, and which of them are quiet."""
    quiet = context.quiet.copy()
    for span in microbial:
        quiet[span.start : span.end] = False
    residuals, _ = residual_vectors(minutes, quiet)
    return residuals, block_means(quiet.astype(float), MINUTES_PER_BLOCK) > 0.5


def _quiet(minutes: Minutes, candidates: list[Candidate]) -> NDArray[np.bool_]:
    quiet = ~minutes.stopped
    for item in candidates:
        quiet[item.span.start : item.span.end] = False
    for start, end in stop_runs(minutes):
        quiet[max(start - 30, 0) : end + 180] = False
    return quiet
