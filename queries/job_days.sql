-- purpose: The days of each job: when work began and ended, and what was done
-- reads:   visits
-- param:   job varchar, optional: only this job
-- column:  job varchar
-- column:  day date: working day by the farm's clock
-- column:  started_at timestamptz: first start in a field, UTC
-- column:  ended_at timestamptz: last stop in a field, UTC
-- column:  machines bigint
-- column:  worked_ha double [ha]
-- column:  field_h double [h]: time in fields, long breaks left out, all machines
-- column:  rate_ha_h double [ha/h]: worked area from first start to last stop
-- order:   job, day
SELECT
    job,
    day,
    min(started_at) AS started_at,
    max(ended_at) AS ended_at,
    count(DISTINCT machine) AS machines,
    to_ha(sum(worked_m2)) AS worked_ha,
    to_h(sum(field_s - break_s)) AS field_h,
    to_ha_h(
        sum(worked_m2)
            / nullif(epoch_us(max(ended_at) - min(started_at)) / 1e6::DOUBLE, 0)
    ) AS rate_ha_h
FROM visits
WHERE job IS NOT NULL AND working_s > 0
  AND ($job::VARCHAR IS NULL OR lower(job) = lower($job::VARCHAR))
GROUP BY job, day
ORDER BY job, day
