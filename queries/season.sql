-- purpose: A season by operation, crop, farm, machine and driver, against the season before
-- reads:   visits, inputs, input_visits
-- param:   harvest_year integer, optional: only this harvest
-- column:  harvest_year integer: as stated with the crop; empty for stubble or bare soil
-- column:  grouped_by varchar: operation, crop, farm, machine or driver
-- column:  name varchar: empty where not said
-- column:  worked_ha double [ha]: ground covered by each visit, overlap counted once
-- column:  field_h double [h]: all time in fields, long breaks left out
-- column:  working_h double [h]
-- column:  turning_h double [h]
-- column:  filling_h double [h]
-- column:  standing_h double [h]: long breaks left out
-- column:  travelling_h double [h]: within fields
-- column:  unrecorded_h double [h]
-- column:  fields bigint
-- column:  days bigint: working days
-- column:  ha_a_day double
-- column:  fuel_l double [l]: as stated
-- column:  fuel_rate double: litres a hectare, over the ground it was stated for
-- column:  before_ha double [ha]: worked in the season before
-- column:  before_h double [h]: in fields in the season before
-- order:   harvest_year, grouped_by, name
WITH fuelled AS (
    SELECT
        visit_event_id,
        sum((amount - coalesce(left_over, 0)) * share) AS fuel_l
    FROM input_visits
    JOIN inputs ON inputs.event_id = input_visits.input_id
    WHERE kind = 'fuel'
    GROUP BY visit_event_id
),
counted AS (
    SELECT visits.*, fuel_l
    FROM visits
    LEFT JOIN fuelled ON fuelled.visit_event_id = visits.event_id
    WHERE working_s > 0
),
named AS (
    SELECT *, 'operation' AS grouped_by, operation AS name FROM counted
    UNION ALL
    SELECT *, 'crop', crop FROM counted
    UNION ALL
    SELECT *, 'farm', farm FROM counted
    UNION ALL
    SELECT *, 'machine', machine FROM counted
    UNION ALL
    SELECT *, 'driver', driver FROM counted
),
summed AS (
    SELECT
        harvest_year,
        grouped_by,
        name,
        sum(worked_m2) AS worked_m2,
        sum(field_s - break_s) AS field_s,
        sum(working_s) AS working_s,
        sum(turning_s) AS turning_s,
        sum(filling_s) AS filling_s,
        sum(standing_s - break_s) AS standing_s,
        sum(travelling_s) AS travelling_s,
        sum(unrecorded_s) AS unrecorded_s,
        count(DISTINCT lower(field)) AS fields,
        count(DISTINCT day) AS days,
        sum(fuel_l) AS fuel_l,
        sum(worked_m2) FILTER (fuel_l IS NOT NULL) AS fuelled_m2
    FROM named
    GROUP BY harvest_year, grouped_by, name
)
SELECT
    summed.harvest_year,
    summed.grouped_by,
    summed.name,
    to_ha(summed.worked_m2) AS worked_ha,
    to_h(summed.field_s) AS field_h,
    to_h(summed.working_s) AS working_h,
    to_h(summed.turning_s) AS turning_h,
    to_h(summed.filling_s) AS filling_h,
    to_h(summed.standing_s) AS standing_h,
    to_h(summed.travelling_s) AS travelling_h,
    to_h(summed.unrecorded_s) AS unrecorded_h,
    summed.fields,
    summed.days,
    to_ha(summed.worked_m2) / summed.days AS ha_a_day,
    summed.fuel_l,
    summed.fuel_l / nullif(to_ha(summed.fuelled_m2), 0) AS fuel_rate,
    to_ha(before.worked_m2) AS before_ha,
    to_h(before.field_s) AS before_h
FROM summed
LEFT JOIN summed AS before
    ON before.harvest_year = summed.harvest_year - 1
    AND before.grouped_by = summed.grouped_by
    AND before.name IS NOT DISTINCT FROM summed.name
WHERE $harvest_year::INTEGER IS NULL OR summed.harvest_year = $harvest_year::INTEGER
ORDER BY summed.harvest_year NULLS LAST, summed.grouped_by, summed.name NULLS LAST
