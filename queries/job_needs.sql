-- purpose: What each job needs of each product a hectare, and what has gone out for it so far
-- reads:   needs, inputs, input_visits, visits
-- param:   job varchar, optional: only this job
-- column:  job varchar
-- column:  product varchar
-- column:  kind varchar
-- column:  unit varchar: of the amounts; the rates are in it per hectare
-- column:  planned_rate double: as planned; empty where nothing was
-- column:  used double: amounts stated for the job's work, what was left over taken off
-- column:  over_ha double [ha]: ground that it went on: applied area where sections shut off, else net
-- column:  used_rate double
-- order:   job, product, unit
WITH spent AS (
    SELECT
        visits.job,
        inputs.product,
        any_value(inputs.kind) AS kind,
        inputs.unit,
        sum((amount - coalesce(left_over, 0)) * share) AS used,
        sum(coalesce(applied_m2, worked_m2)) AS over_m2
    FROM inputs
    JOIN input_visits ON input_visits.input_id = inputs.event_id
    JOIN visits ON visits.event_id = input_visits.visit_event_id
    WHERE visits.job IS NOT NULL
    GROUP BY visits.job, inputs.product, inputs.unit
),
planned AS (
    SELECT job, product, any_value(kind) AS kind, unit, max(per_ha) AS per_ha
    FROM needs
    GROUP BY job, product, unit
)
SELECT
    coalesce(planned.job, spent.job) AS job,
    coalesce(planned.product, spent.product) AS product,
    coalesce(planned.kind, spent.kind) AS kind,
    coalesce(planned.unit, spent.unit) AS unit,
    per_ha AS planned_rate,
    used,
    to_ha(over_m2) AS over_ha,
    used / nullif(to_ha(over_m2), 0) AS used_rate
FROM planned
FULL JOIN spent
    ON lower(spent.job) = lower(planned.job)
    AND lower(spent.product) = lower(planned.product)
    AND spent.unit = planned.unit
WHERE $job::VARCHAR IS NULL
    OR lower(coalesce(planned.job, spent.job)) = lower($job::VARCHAR)
ORDER BY 1, 2, 4
