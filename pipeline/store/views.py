"""Views of the findings store for its three users, each written once here."""

from __future__ import annotations

from typing import Final

from pipeline.store.meanings import comments

_JOINED: Final = """
    FROM findings AS f
    LEFT JOIN mills AS m USING (mill)
    LEFT JOIN runs AS r ON r.run_id = f.run_id
    WHERE f.status <> 'withdrawn'
"""

_TIMES: Final = """
    timezone(coalesce(m.zone, 'UTC'), f.started) AS started_local,
    timezone(coalesce(m.zone, 'UTC'), f.ended) AS ended_local,
    coalesce(m.zone, 'UTC') AS time_zone
"""

_AMOUNTS: Final = """
    epoch(f.ended - f.started) / 3600.0 AS hours,
    f.lost_t, f.lost_t_low, f.lost_t_high,
    f.value AS worth, f.currency
"""

_FOR_CHEMIST: Final = f"""
CREATE OR REPLACE VIEW for_chemist AS
SELECT f.rank, f.finding_id, f.section, f.cause, f.status, f.mark, f.verdict, {_TIMES}, {_AMOUNTS},
    coalesce(m.name, f.mill) AS mill_name,
    100.0 * f.confidence AS sure_pct,
    array_to_string(list_transform(
        CAST(json_extract(f.evidence, '$.facts') AS JSON[])[1:3],
        lambda fact: concat_ws(' ', fact->>'text', fact->>'value', fact->>'unit')
    ), '; ') AS why,
    last.note, last.author
{
    _JOINED.replace(
        "WHERE",
        '''
    LEFT JOIN (
        SELECT finding_id, arg_max(note, verdict_id) AS note, arg_max(author, verdict_id) AS author
        FROM verdicts GROUP BY finding_id
    ) AS last ON last.finding_id = f.finding_id AND f.verdict IS NOT NULL
    WHERE''',
    )
}
ORDER BY mill_name, f.rank;
"""

_FOR_ANALYST: Final = f"""
CREATE OR REPLACE VIEW for_analyst AS
SELECT f.finding_id, f.mill, f.rank, f.section, f.cause, f.status, f.mark, f.verdict, {_TIMES}, {
    _AMOUNTS
},
    CAST(timezone(coalesce(m.zone, 'UTC'), f.started) AS DATE) AS day_local,
    CAST(date_trunc('week', timezone(coalesce(m.zone, 'UTC'), f.started)) AS DATE) AS week_local,
    f.value * f.lost_t_low / nullif(f.lost_t, 0) AS worth_low,
    f.value * f.lost_t_high / nullif(f.lost_t, 0) AS worth_high,
    f.lost_pct,
    f.lost_t / nullif(epoch(f.ended - f.started) / 86400.0, 0) AS lost_t_per_day,
    f.confidence, f.p_value, f.q_value,
    {
    '''
    '''.join(
        f"TRY_CAST(json_extract_string(f.evidence, '$.shares.{name}') AS DOUBLE) AS share_{name},"
        for name in ("ph", "temperature", "volume", "throughput", "brix", "microbes")
    )
}
    r.multiplier, r.multiplier_low, r.multiplier_high,
    f.first_seen, f.last_seen, f.run_id
{_JOINED}
ORDER BY f.mill, f.started, f.finding_id;
"""

_FOR_RELIABILITY: Final = f"""
CREATE OR REPLACE VIEW for_reliability AS
WITH found AS (
    SELECT f.finding_id, f.mill, f.rank, f.section, f.cause, f.status, f.mark, f.verdict, {_TIMES},
        f.evidence
    {_JOINED}
), lines AS (
    SELECT finding_id, 1 AS place, 'fact' AS kind,
        unnest(CAST(json_extract(evidence, '$.facts') AS JSON[])) AS item,
        generate_subscripts(CAST(json_extract(evidence, '$.facts') AS JSON[]), 1) AS nr
    FROM found
    UNION ALL
    SELECT finding_id, 3, 'alternative',
        unnest(CAST(json_extract(evidence, '$.alternatives') AS JSON[])),
        generate_subscripts(CAST(json_extract(evidence, '$.alternatives') AS JSON[]), 1)
    FROM found
), named AS (
    SELECT finding_id, 2 AS place, 'driver' AS kind,
        unnest(json_keys(evidence, '$.shares')) AS name, '$.shares' AS under, evidence FROM found
    UNION ALL
    SELECT finding_id, 4, 'uncertainty',
        unnest(json_keys(evidence, '$.uncertainty')), '$.uncertainty', evidence FROM found
), rows_of AS (
    SELECT finding_id, place, nr, kind, coalesce(item->>'text', item->>'cause') AS what,
        TRY_CAST(coalesce(item->>'value', item->>'weight') AS DOUBLE) AS value,
        coalesce(item->>'unit', '') AS unit
    FROM lines
    UNION ALL
    SELECT finding_id, place, 0, kind, name,
        TRY_CAST(json_extract_string(evidence, under || '."' || name || '"') AS DOUBLE), ''
    FROM named
)
SELECT f.finding_id, f.mill, f.rank, f.section, f.cause, f.status, f.mark, f.verdict,
    f.started_local, f.ended_local, f.time_zone, l.kind, l.what, l.value, l.unit
FROM found AS f JOIN rows_of AS l USING (finding_id)
ORDER BY f.mill, f.rank, l.place, l.nr, l.what;
"""

_SENSORS: Final = """
CREATE OR REPLACE VIEW sensors_to_service AS
SELECT mill, tag, any_value(quantity) AS quantity, any_value(place) AS place,
    count(*) AS days_unwell,
    arg_min(verdict, CASE verdict WHEN 'silent' THEN 0 WHEN 'sick' THEN 1 ELSE 2 END) AS worst,
    max(day) AS last_day, avg(good_pct) AS good_pct,
    arg_max(drift, day) AS drift, arg_max(drift_sd, day) AS drift_sd,
    arg_max(text, day) AS what_is_wrong
FROM sensor_health AS s
WHERE verdict <> 'good'
    -- The last UTC day is seldom whole, and every sensor would look silent on it.
    AND day < (SELECT max(day) FROM sensor_health AS o WHERE o.mill = s.mill)
    AND day >= (SELECT max(day) FROM sensor_health AS o WHERE o.mill = s.mill) - 7
GROUP BY mill, tag
ORDER BY mill, days_unwell DESC, tag;
"""

#: The migration that makes room for what the views need to know of a mill.
MILLS: Final = """
CREATE TABLE IF NOT EXISTS mills (
    mill        VARCHAR PRIMARY KEY,
    name        VARCHAR NOT NULL,
    zone        VARCHAR NOT NULL,
    currency    VARCHAR NOT NULL,
    price_per_t DOUBLE NOT NULL
);
"""


#: The migration that makes the views.
VIEWS: Final = "\n".join([_FOR_CHEMIST, _FOR_ANALYST, _FOR_RELIABILITY, _SENSORS, comments()])
