-- purpose: How far each operation has got in each field, and what is left
-- reads:   ground, jobs, visits
-- param:   harvest_year integer, optional: only work that counts to this harvest
-- column:  operation varchar
-- column:  pass integer: 2 once a second covering goes over more than half of the first
-- column:  crop varchar: empty for stubble or bare soil
-- column:  harvest_year integer
-- column:  field varchar
-- column:  boundary_ha double [ha]
-- column:  croppable_ha double [ha]: what the outermost bouts enclose; the boundary until they do
-- column:  done_ha double [ha]: ground covered, counted once over all days and machines; empty where the width is not known
-- column:  left_ha double [ha]: croppable ground still to do; nothing in a finished field
-- column:  missed_ha double [ha]: croppable ground that was passed by: done + left + missed = croppable
-- column:  percent double [%]: croppable ground that is not left
-- order:   harvest_year, operation, pass, crop, field
WITH begun AS (
    SELECT
        operation,
        pass,
        crop,
        harvest_year,
        field,
        boundary_m2,
        croppable_m2,
        done_m2,
        left_m2,
        missed_m2,
        share_done
    FROM ground
),
-- Fields of open jobs in which nothing was done yet.
waiting AS (
    SELECT DISTINCT
        operation,
        1 AS pass,
        crop,
        harvest_year,
        field,
        boundary_m2,
        boundary_m2 AS croppable_m2,
        -- Work of unknown width was not nothing.
        CASE
            WHEN EXISTS (
                FROM visits
                WHERE lower(visits.operation) = lower(jobs.operation)
                  AND lower(visits.field) = lower(jobs.field)
                  AND visits.job = jobs.job
            ) THEN NULL
            ELSE 0.0::DOUBLE
        END AS done_m2
    FROM jobs
    WHERE NOT is_closed AND boundary_m2 IS NOT NULL
      AND NOT EXISTS (
        FROM begun
        WHERE lower(begun.operation) = lower(jobs.operation)
          AND begun.field = jobs.field
          AND (jobs.crop IS NULL OR lower(begun.crop) = lower(jobs.crop))
          AND (jobs.harvest_year IS NULL OR begun.harvest_year = jobs.harvest_year)
      )
),
every_field AS (
    FROM begun
    UNION ALL
    SELECT *, boundary_m2 - done_m2, 0 * done_m2, 0 * done_m2 FROM waiting
)
SELECT
    operation,
    pass,
    crop,
    harvest_year,
    field,
    to_ha(boundary_m2) AS boundary_ha,
    to_ha(croppable_m2) AS croppable_ha,
    to_ha(done_m2) AS done_ha,
    to_ha(left_m2) AS left_ha,
    to_ha(missed_m2) AS missed_ha,
    share_done * 100.0::DOUBLE AS percent
FROM every_field
WHERE $harvest_year::INTEGER IS NULL OR harvest_year = $harvest_year::INTEGER
ORDER BY harvest_year NULLS LAST, operation, pass, crop NULLS LAST, field
