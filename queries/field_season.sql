-- purpose: Each field's work in order, with what went out and the days since the work before
-- reads:   visits, inputs, input_visits
-- param:   field varchar, optional: only this field
-- param:   harvest_year integer, optional: only work that counts to this harvest
-- column:  field varchar
-- column:  crop varchar: empty for stubble or bare soil
-- column:  harvest_year integer
-- column:  day date
-- column:  started_at timestamptz: UTC
-- column:  operation varchar
-- column:  machine varchar
-- column:  implement varchar
-- column:  driver varchar
-- column:  visit varchar: handle to type
-- column:  worked_ha double [ha]: overlap counted once
-- column:  boundary_ha double [ha]
-- column:  speed_kmh double [km/h]: mean over the time working
-- column:  field_h double [h]: all time in the field
-- column:  days_since bigint: days since the work before, of another operation
-- column:  after varchar: that operation
-- column:  inputs varchar: products with their rate over the ground worked
-- order:   field, started_at, visit
WITH rated AS (
    SELECT
        visit_event_id,
        product,
        unit,
        (amount - coalesce(left_over, 0)) * share
            / nullif(to_ha(coalesce(applied_m2, worked_m2)), 0) AS rate
    FROM input_visits
    JOIN inputs ON inputs.event_id = input_visits.input_id
    JOIN visits ON visits.event_id = visit_event_id
),
given AS (
    SELECT
        visit_event_id,
        string_agg(
            product || ' ' || CASE
                WHEN rate >= 100 THEN printf('%.0f', rate)
                WHEN rate >= 10 THEN rtrim(rtrim(printf('%.1f', rate), '0'), '.')
                ELSE rtrim(rtrim(printf('%.2f', rate), '0'), '.')
            END || ' ' || unit || '/ha',
            ', ' ORDER BY product
        ) AS inputs
    FROM rated
    GROUP BY visit_event_id
),
worked AS (
    SELECT visits.*, given.inputs
    FROM visits
    LEFT JOIN given ON given.visit_event_id = visits.event_id
    WHERE working_s > 0
      AND ($field::VARCHAR IS NULL OR lower(field) = lower($field::VARCHAR))
)
SELECT
    field,
    crop,
    harvest_year,
    day,
    started_at,
    operation,
    machine,
    implement,
    driver,
    handle AS visit,
    to_ha(worked_m2) AS worked_ha,
    to_ha(boundary_m2) AS boundary_ha,
    to_kmh(speed_m_s) AS speed_kmh,
    to_h(field_s) AS field_h,
    CAST(day - (
        SELECT max(before.day)
        FROM worked AS before
        WHERE lower(before.field) = lower(worked.field)
          AND before.started_at < worked.started_at
          AND before.operation IS DISTINCT FROM worked.operation
    ) AS BIGINT) AS days_since,
    (
        SELECT arg_max(before.operation, before.started_at)
        FROM worked AS before
        WHERE lower(before.field) = lower(worked.field)
          AND before.started_at < worked.started_at
          AND before.operation IS DISTINCT FROM worked.operation
    ) AS after,
    inputs
FROM worked
WHERE $harvest_year::INTEGER IS NULL OR harvest_year = $harvest_year::INTEGER
ORDER BY field, started_at, handle
