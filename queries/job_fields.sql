-- purpose: How far each job has got in each of its fields
-- reads:   jobs, ground, visits
-- param:   job varchar, optional: only this job
-- column:  job varchar
-- column:  operation varchar
-- column:  field varchar
-- column:  state varchar: finished, part-done, not begun, or not measured (worked at an unknown width)
-- column:  boundary_ha double [ha]
-- column:  croppable_ha double [ha]: what the outermost bouts enclose; the boundary until they do
-- column:  done_ha double [ha]: counted once over days and machines; empty where not measured
-- column:  left_ha double [ha]: nothing in a finished field; empty where not measured
-- column:  missed_ha double [ha]: croppable ground that was passed by
-- column:  percent double [%]: croppable ground that is not left
-- column:  field_h double [h]: time in the field for the job, long breaks left out
-- column:  first_day date
-- column:  last_day date
-- column:  unseen_ha double [ha]: not looked at, as a private place hides it; not part of croppable
-- order:   job, field
WITH
members AS (
    SELECT job, any_value(field) AS field, any_value(boundary_m2) AS boundary_m2
    FROM (
        SELECT job, field, boundary_m2 FROM jobs
        UNION ALL
        SELECT job, field, boundary_m2 FROM ground WHERE job IS NOT NULL
    )
    WHERE boundary_m2 IS NOT NULL
    GROUP BY job, lower(field)
),
-- Gone over twice in one job: the covering that left least.
covered AS (
    SELECT
        job,
        field,
        arg_min(croppable_m2, (left_m2, pass)) AS croppable_m2,
        arg_min(done_m2, (left_m2, pass)) AS done_m2,
        min(left_m2) AS left_m2,
        arg_min(missed_m2, (left_m2, pass)) AS missed_m2,
        arg_min(unseen_m2, (left_m2, pass)) AS unseen_m2,
        bool_or(is_finished) AS is_finished,
        min(first_day) AS first_day,
        max(last_day) AS last_day
    FROM ground
    WHERE job IS NOT NULL
    GROUP BY job, field
),
worked AS (
    SELECT
        job,
        lower(field) AS field,
        sum(worked_m2) AS worked_m2,
        sum(field_s - break_s) FILTER (worked_m2 IS NOT NULL) AS field_s
    FROM visits
    WHERE job IS NOT NULL AND working_s > 0
    GROUP BY job, lower(field)
),
every_field AS (
    SELECT
        members.job,
        members.field,
        members.boundary_m2,
        CASE
            WHEN is_finished THEN 'finished'
            WHEN covered.job IS NOT NULL THEN 'part-done'
            WHEN worked.job IS NOT NULL THEN 'not measured'
            ELSE 'not begun'
        END AS state,
        coalesce(croppable_m2, members.boundary_m2) AS croppable_m2,
        CASE WHEN worked.job IS NULL THEN 0.0::DOUBLE ELSE done_m2 END AS done_m2,
        CASE WHEN worked.job IS NULL THEN members.boundary_m2 ELSE left_m2 END AS left_m2,
        CASE WHEN worked.job IS NULL THEN 0.0::DOUBLE ELSE missed_m2 END AS missed_m2,
        coalesce(unseen_m2, 0.0::DOUBLE) AS unseen_m2,
        worked.field_s,
        first_day,
        last_day
    FROM members
    LEFT JOIN covered ON covered.job = members.job AND lower(covered.field) = lower(members.field)
    LEFT JOIN worked ON worked.job = members.job AND worked.field = lower(members.field)
)
SELECT
    every_field.job,
    (SELECT any_value(operation) FROM jobs WHERE jobs.job = every_field.job) AS operation,
    field,
    state,
    to_ha(boundary_m2) AS boundary_ha,
    to_ha(croppable_m2) AS croppable_ha,
    to_ha(done_m2) AS done_ha,
    to_ha(left_m2) AS left_ha,
    to_ha(missed_m2) AS missed_ha,
    100.0::DOUBLE * (1 - left_m2 / nullif(croppable_m2, 0)) AS percent,
    to_h(field_s) AS field_h,
    first_day,
    last_day,
    to_ha(unseen_m2) AS unseen_ha
FROM every_field
WHERE $job::VARCHAR IS NULL OR lower(every_field.job) = lower($job::VARCHAR)
ORDER BY every_field.job, field
