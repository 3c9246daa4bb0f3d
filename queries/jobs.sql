-- purpose: Each job: area, done, left, days, rate of work and the hours still needed
-- reads:   jobs, ground, visits
-- param:   job varchar, optional: only this job
-- column:  job varchar
-- column:  operation varchar
-- column:  crop varchar
-- column:  harvest_year integer: as stated with the job
-- column:  state varchar: open, finished or closed
-- column:  by date: the deadline
-- column:  fields bigint
-- column:  fields_finished bigint
-- column:  fields_begun bigint: started but not finished
-- column:  fields_unmeasured bigint: worked at an unknown width; not in the areas below
-- column:  boundary_ha double [ha]
-- column:  area_ha double [ha]: croppable ground; by the boundary where not begun
-- column:  done_ha double [ha]
-- column:  left_ha double [ha]
-- column:  missed_ha double [ha]: croppable ground that was passed by
-- column:  percent double [%]: croppable ground that is not left
-- column:  days bigint: working days so far
-- column:  first_day date
-- column:  last_day date
-- column:  ha_a_day double: ground worked over the days so far
-- column:  rate_ha_h double [ha/h]: worked area / time in the field, long breaks left out
-- column:  left_h double [h]: time in the field still needed at that rate
-- order:   job
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
        worked.field_s,
        first_day,
        last_day
    FROM members
    LEFT JOIN covered ON covered.job = members.job AND lower(covered.field) = lower(members.field)
    LEFT JOIN worked ON worked.job = members.job AND worked.field = lower(members.field)
),
summed AS (
    SELECT
        job,
        count(*) AS fields,
        count(*) FILTER (state = 'finished') AS fields_finished,
        count(*) FILTER (state = 'part-done') AS fields_begun,
        count(*) FILTER (state = 'not measured') AS fields_unmeasured,
        sum(boundary_m2) AS boundary_m2,
        sum(croppable_m2) FILTER (state <> 'not measured') AS area_m2,
        sum(done_m2) AS done_m2,
        sum(left_m2) AS left_m2,
        sum(missed_m2) AS missed_m2
    FROM every_field
    GROUP BY job
),
so_far AS (
    SELECT
        job,
        count(DISTINCT day) AS days,
        min(day) AS first_day,
        max(day) AS last_day,
        sum(worked_m2) AS worked_m2,
        nullif(sum(worked_m2), 0)
            / nullif(sum(field_s - break_s) FILTER (worked_m2 IS NOT NULL), 0) AS rate_m2_s
    FROM visits
    WHERE job IS NOT NULL AND working_s > 0
    GROUP BY job
),
planned AS (
    SELECT
        job,
        any_value(operation) AS operation,
        any_value(crop) AS crop,
        any_value(harvest_year) AS harvest_year,
        any_value(due) AS due,
        bool_or(is_closed) AS is_closed
    FROM jobs
    GROUP BY job
)
SELECT
    planned.job,
    operation,
    crop,
    harvest_year,
    CASE
        WHEN is_closed THEN 'closed'
        WHEN fields_finished = fields THEN 'finished'
        ELSE 'open'
    END AS state,
    due AS "by",
    fields,
    fields_finished,
    fields_begun,
    fields_unmeasured,
    to_ha(boundary_m2) AS boundary_ha,
    to_ha(area_m2) AS area_ha,
    to_ha(done_m2) AS done_ha,
    to_ha(left_m2) AS left_ha,
    to_ha(missed_m2) AS missed_ha,
    100.0::DOUBLE * (1 - left_m2 / nullif(area_m2, 0)) AS percent,
    coalesce(days, 0) AS days,
    first_day,
    last_day,
    to_ha(worked_m2) / days AS ha_a_day,
    to_ha_h(rate_m2_s) AS rate_ha_h,
    to_h(left_m2 / rate_m2_s) AS left_h
FROM planned
LEFT JOIN summed ON summed.job = planned.job
LEFT JOIN so_far ON so_far.job = planned.job
WHERE $job::VARCHAR IS NULL OR lower(planned.job) = lower($job::VARCHAR)
ORDER BY planned.job
