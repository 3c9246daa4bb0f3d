-- purpose: Hectares of each operation day by day through a season, and in all so far
-- reads:   visits
-- param:   harvest_year integer, optional: only this harvest
-- param:   operation varchar, optional: only this operation
-- column:  harvest_year integer
-- column:  operation varchar
-- column:  day date
-- column:  machines bigint
-- column:  worked_ha double [ha]
-- column:  so_far_ha double [ha]: of this operation in this season
-- order:   harvest_year, operation, day
WITH daily AS (
    SELECT
        harvest_year,
        operation,
        day,
        count(DISTINCT machine) AS machines,
        sum(worked_m2) AS worked_m2
    FROM visits
    WHERE working_s > 0
    GROUP BY harvest_year, operation, day
)
SELECT
    harvest_year,
    operation,
    day,
    machines,
    to_ha(worked_m2) AS worked_ha,
    to_ha(sum(worked_m2) OVER (PARTITION BY harvest_year, operation ORDER BY day)) AS so_far_ha
FROM daily
WHERE ($harvest_year::INTEGER IS NULL OR harvest_year = $harvest_year::INTEGER)
  AND ($operation::VARCHAR IS NULL OR lower(operation) = lower($operation::VARCHAR))
ORDER BY harvest_year NULLS LAST, operation NULLS LAST, day
