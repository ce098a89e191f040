"""Tables of the findings store, and the steps that bring an older file up to date.

Each migration runs once, inside one transaction, and leaves its number in ``schema_version``.
Migrations that were released are never edited: a change is a new one at the end.
"""

from __future__ import annotations

from typing import Final

from pipeline.store.views import MILLS, VIEWS

_FIRST: Final = """
CREATE TABLE findings (
    finding_id  VARCHAR PRIMARY KEY,
    mill        VARCHAR NOT NULL,
    section     VARCHAR NOT NULL,
    started     TIMESTAMPTZ NOT NULL,
    ended       TIMESTAMPTZ NOT NULL,
    cause       VARCHAR NOT NULL,
    lost_t      DOUBLE NOT NULL,
    lost_t_low  DOUBLE NOT NULL,
    lost_t_high DOUBLE NOT NULL,
    lost_pct    DOUBLE,
    value       DOUBLE NOT NULL,
    currency    VARCHAR NOT NULL,
    confidence  DOUBLE NOT NULL,
    rank        INTEGER,
    status      VARCHAR NOT NULL CHECK (status IN ('open', 'ended', 'withdrawn')),
    evidence    JSON NOT NULL,
    first_seen  TIMESTAMPTZ NOT NULL,
    last_seen   TIMESTAMPTZ NOT NULL,
    run_id      VARCHAR NOT NULL
);
COMMENT ON TABLE findings IS 'One row per loss found; a later run updates it in place';
COMMENT ON COLUMN findings.section IS 'Vessel with most of the loss, or train';
COMMENT ON COLUMN findings.started IS 'First minute of the loss (included)';
COMMENT ON COLUMN findings.ended IS 'End of the loss (excluded)';
COMMENT ON COLUMN findings.lost_t IS 'Sucrose lost beyond the unavoidable [t]';
COMMENT ON COLUMN findings.lost_t_low IS 'Lower end of the 90 % interval [t]';
COMMENT ON COLUMN findings.lost_t_high IS 'Upper end of the 90 % interval [t]';
COMMENT ON COLUMN findings.lost_pct IS 'Share of the sucrose fed meanwhile [%]';
COMMENT ON COLUMN findings.value IS 'lost_t times the sucrose price [currency]';
COMMENT ON COLUMN findings.confidence IS 'How sure the finding is, 0 to 1';
COMMENT ON COLUMN findings.rank IS 'Place in the list, 1 first; null when withdrawn';
COMMENT ON COLUMN findings.status IS 'open (to the end of data), ended, withdrawn (found no more)';
COMMENT ON COLUMN findings.first_seen IS 'End of data of the run that first found it';
COMMENT ON COLUMN findings.last_seen IS 'End of data of the run that last judged it';
COMMENT ON COLUMN findings.run_id IS 'Run that last wrote the row';

CREATE TABLE runs (
    run_id       VARCHAR PRIMARY KEY,
    mill         VARCHAR NOT NULL,
    flow         VARCHAR NOT NULL,
    window_start TIMESTAMPTZ NOT NULL,
    window_end   TIMESTAMPTZ NOT NULL,
    as_of        TIMESTAMPTZ NOT NULL,
    config_hash  VARCHAR NOT NULL,
    inputs_hash  VARCHAR NOT NULL,
    versions     JSON NOT NULL,
    minutes      BIGINT,
    findings     BIGINT,
    multiplier       DOUBLE,
    multiplier_low   DOUBLE,
    multiplier_high  DOUBLE,
    multiplier_pairs BIGINT,
    started_at   TIMESTAMPTZ NOT NULL,
    finished_at  TIMESTAMPTZ,
    state        VARCHAR NOT NULL CHECK (state IN ('running', 'finished', 'failed'))
);
COMMENT ON TABLE runs IS 'One row per distinct run: inputs, description, code, window';
COMMENT ON COLUMN runs.window_start IS 'First instant judged (included)';
COMMENT ON COLUMN runs.window_end IS 'End of what was judged (excluded)';
COMMENT ON COLUMN runs.as_of IS 'End of data known to the run';
COMMENT ON COLUMN runs.minutes IS 'Minutes judged';
COMMENT ON COLUMN runs.findings IS 'Losses found in the window';
COMMENT ON COLUMN runs.multiplier IS 'Factor on the published inversion rate, with 90 % interval';
COMMENT ON COLUMN runs.multiplier_pairs IS 'Laboratory pairs behind it; 0: as described';
COMMENT ON COLUMN runs.started_at IS 'Wall clock';

CREATE TABLE sources (
    mill              VARCHAR NOT NULL,
    sha256            VARCHAR NOT NULL,
    name              VARCHAR NOT NULL,
    bytes             BIGINT NOT NULL,
    layout            VARCHAR NOT NULL,
    rows_read         BIGINT NOT NULL,
    rows_kept         BIGINT NOT NULL,
    rows_merged       BIGINT NOT NULL,
    rows_refused      BIGINT NOT NULL,
    rows_conflicting  BIGINT NOT NULL,
    refused_by_reason JSON NOT NULL,
    bad_by_reason     JSON NOT NULL,
    unknown_tags      JSON NOT NULL,
    first_ts          TIMESTAMPTZ,
    last_ts           TIMESTAMPTZ,
    PRIMARY KEY (mill, sha256)
);
COMMENT ON TABLE sources IS 'One row per export file pulled, known by its content';
COMMENT ON COLUMN sources.rows_merged IS 'Rows that repeated a moment already known';
COMMENT ON COLUMN sources.rows_refused IS 'Rows that cannot be readings, counted by reason';
COMMENT ON COLUMN sources.rows_conflicting IS 'Moments for which two good readings differ';
COMMENT ON COLUMN sources.bad_by_reason IS 'Readings kept but bad on arrival, by reason';
COMMENT ON COLUMN sources.unknown_tags IS 'Tags in the file that the description does not name';

CREATE TABLE pending_days (
    mill VARCHAR NOT NULL,
    day  DATE NOT NULL,
    PRIMARY KEY (mill, day)
);
COMMENT ON TABLE pending_days IS 'UTC days whose readings changed since they were last worked out';
"""

_SENSORS: Final = """
CREATE TABLE sensor_health (
    mill           VARCHAR NOT NULL,
    day            DATE NOT NULL,
    tag            VARCHAR NOT NULL,
    quantity       VARCHAR NOT NULL,
    place          VARCHAR NOT NULL,
    readings       BIGINT NOT NULL,
    good           BIGINT NOT NULL,
    good_pct       DOUBLE,
    spikes         BIGINT NOT NULL,
    out_of_range   BIGINT NOT NULL,
    frozen         BIGINT NOT NULL,
    frozen_min     DOUBLE NOT NULL,
    calibration    BIGINT NOT NULL,
    calibration_step DOUBLE,
    other_bad      BIGINT NOT NULL,
    gap_min        DOUBLE NOT NULL,
    longest_gap_min DOUBLE NOT NULL,
    drift          DOUBLE,
    drift_sd       DOUBLE,
    verdict        VARCHAR NOT NULL CHECK (verdict IN ('good', 'watch', 'sick', 'silent')),
    text           VARCHAR NOT NULL,
    PRIMARY KEY (mill, day, tag)
);
COMMENT ON TABLE sensor_health IS 'One row per tag and UTC day, as the last run saw it';
COMMENT ON COLUMN sensor_health.good_pct IS 'Share of the readings that are good [%]';
COMMENT ON COLUMN sensor_health.frozen_min IS 'Time a frozen value was all there was [min]';
COMMENT ON COLUMN sensor_health.calibration IS 'Readings of buffer while a pH probe was off line';
COMMENT ON COLUMN sensor_health.calibration_step IS 'Reading after calibration less before [unit]';
COMMENT ON COLUMN sensor_health.other_bad IS 'Bad on arrival, or no number';
COMMENT ON COLUMN sensor_health.gap_min IS 'Time without a reading [min]';
COMMENT ON COLUMN sensor_health.drift IS 'pH: reading less laboratory, mean of the day [pH]';
COMMENT ON COLUMN sensor_health.drift_sd IS 'Standard error of drift [pH]';
COMMENT ON COLUMN sensor_health.verdict IS 'good, watch, sick, silent (no readings)';
COMMENT ON COLUMN sensor_health.text IS 'What is wrong, worst first; empty when good';

CREATE TABLE source_marks (
    mill       VARCHAR NOT NULL,
    source     VARCHAR NOT NULL,
    read_until TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (mill, source)
);
COMMENT ON TABLE source_marks IS 'Up to which moment each direct source was read';
"""

_VERDICTS: Final = """
CREATE TABLE verdicts (
    verdict_id  BIGINT PRIMARY KEY,
    mill        VARCHAR NOT NULL,
    finding_id  VARCHAR NOT NULL,
    verdict     VARCHAR NOT NULL
        CHECK (verdict IN ('confirmed', 'dismissed', 'fixed', 'taken_back')),
    note        VARCHAR NOT NULL,
    author      VARCHAR NOT NULL,
    given_at    TIMESTAMPTZ NOT NULL,
    found_cause VARCHAR,
    section     VARCHAR NOT NULL,
    cause       VARCHAR NOT NULL,
    started     TIMESTAMPTZ NOT NULL,
    ended       TIMESTAMPTZ NOT NULL,
    lost_t      DOUBLE NOT NULL
);
COMMENT ON TABLE verdicts IS 'What people said of findings; rows are only ever added';
COMMENT ON COLUMN verdicts.verdict_id IS 'Number in order of giving; the last of a finding counts';
COMMENT ON COLUMN verdicts.mill IS 'Key of the mill';
COMMENT ON COLUMN verdicts.finding_id IS 'Finding the verdict is on';
COMMENT ON COLUMN verdicts.verdict IS 'confirmed, dismissed, fixed, or taken_back';
COMMENT ON COLUMN verdicts.note IS 'Why, in the words of the author';
COMMENT ON COLUMN verdicts.author IS 'Who gave it';
COMMENT ON COLUMN verdicts.given_at IS 'When it was given, by the clock';
COMMENT ON COLUMN verdicts.found_cause IS 'Cause found on the floor, where it is another one';
COMMENT ON COLUMN verdicts.section IS 'Section of the finding when the verdict was given';
COMMENT ON COLUMN verdicts.cause IS 'Cause the search had named then';
COMMENT ON COLUMN verdicts.started IS 'Start of the finding then';
COMMENT ON COLUMN verdicts.ended IS 'End of the finding then';
COMMENT ON COLUMN verdicts.lost_t IS 'Sucrose lost by the finding then [t]';

ALTER TABLE findings ADD COLUMN verdict VARCHAR;
COMMENT ON COLUMN findings.verdict IS
    'confirmed, dismissed, fixed, look_again (grew or went on since), or null; see verdicts';
"""

_CHANCE: Final = """
ALTER TABLE findings ADD COLUMN p_value DOUBLE;
ALTER TABLE findings ADD COLUMN q_value DOUBLE;
ALTER TABLE findings ADD COLUMN mark VARCHAR;
COMMENT ON COLUMN findings.p_value IS 'Chance of such an episode where nothing is lost, 0 to 1';
COMMENT ON COLUMN findings.q_value IS
    'False-discovery rate at which it would still stand among all of the season, 0 to 1';
COMMENT ON COLUMN findings.mark IS 'listed, or confident: sure enough for the strict list';
"""

_STAGES: Final = """
CREATE TABLE stages (
    mill       VARCHAR NOT NULL,
    attempt    VARCHAR NOT NULL,
    number     INTEGER NOT NULL,
    flow       VARCHAR NOT NULL,
    stage      VARCHAR NOT NULL,
    started_at TIMESTAMPTZ NOT NULL,
    took_s     DOUBLE NOT NULL,
    row_count  BIGINT,
    row_kind   VARCHAR,
    state      VARCHAR NOT NULL CHECK (state IN ('finished', 'failed')),
    run_id     VARCHAR,
    error      VARCHAR,
    PRIMARY KEY (mill, attempt, number)
);
COMMENT ON TABLE stages IS 'One row per stage of each attempt at a run; number 0 is the whole';
COMMENT ON COLUMN stages.mill IS 'Key of the mill';
COMMENT ON COLUMN stages.attempt IS 'Name of the attempt: when it began, and its process';
COMMENT ON COLUMN stages.number IS 'Place in the attempt; 0 is the attempt as a whole';
COMMENT ON COLUMN stages.flow IS 'What asked for it: nightly, weekly or backfill';
COMMENT ON COLUMN stages.stage IS 'pull, sources, derive, detect, report, send; whole';
COMMENT ON COLUMN stages.started_at IS 'Wall clock';
COMMENT ON COLUMN stages.took_s IS 'How long it took [s], wall clock';
COMMENT ON COLUMN stages.row_count IS 'How many rows it dealt with; null where nothing is counted';
COMMENT ON COLUMN stages.row_kind IS 'What is counted: readings, minutes';
COMMENT ON COLUMN stages.state IS 'finished or failed';
COMMENT ON COLUMN stages.run_id IS 'Run it belongs to; null when it ended before the search';
COMMENT ON COLUMN stages.error IS 'What went wrong; untrusted text';
"""

#: Scripts in order; the first brings an empty file to version 1.
MIGRATIONS: Final[tuple[str, ...]] = (_FIRST, _SENSORS, _VERDICTS, MILLS, _CHANCE, VIEWS, _STAGES)
