-- purpose: Speed and rate of work of each machine with each implement and working width
-- reads:   visits
-- param:   harvest_year integer, optional: only work that counts to this harvest
-- column:  machine varchar
-- column:  implement varchar
-- column:  operation varchar
-- column:  width_m double [m]: working width as stated, else as used
-- column:  visits bigint: visits that the figures rest on
-- column:  worked_ha double [ha]: ground covered, overlap counted once
-- column:  working_h double [h]: implement at work
-- column:  field_h double [h]: all time in the field, long breaks left out
-- column:  break_h double [h]: the long breaks
-- column:  speed_kmh double [km/h]: mean over the time working
-- column:  spot_ha_h double [ha/h]: speed x width, the theoretical field capacity
-- column:  overall_ha_h double [ha/h]: worked area / field time, the effective field capacity
-- column:  overall_ha_h_m double [ha/h/m]: overall rate per metre of width
-- column:  field_efficiency double: overall rate / spot rate, 0 to 1
-- order:   machine, implement, operation, width_m
--
-- Rates by the definitions of Edwards, "Estimating the Field Capacity of Farm Machines", File
-- A3-24, Iowa State University Extension. Only visits with a width and working time are counted,
-- so that the area of a rate and its hours are those of the same visits.
WITH counted AS (
    SELECT *, coalesce(width_m, width_used_m) AS stated_m
    FROM visits
    WHERE worked_m2 > 0 AND working_s > 0 AND coalesce(width_m, width_used_m) > 0
      AND ($harvest_year::INTEGER IS NULL OR harvest_year = $harvest_year::INTEGER)
),
summed AS (
    SELECT
        machine,
        implement,
        operation,
        stated_m,
        count(*) AS visits,
        sum(worked_m2) AS worked_m2,
        sum(working_s) AS working_s,
        sum(field_s - break_s) AS field_s,
        sum(break_s) AS break_s,
        sum(speed_m_s * working_s) / nullif(sum(working_s) FILTER (speed_m_s IS NOT NULL), 0)
            AS speed_m_s
    FROM counted
    GROUP BY machine, implement, operation, stated_m
),
rated AS (
    SELECT
        *,
        nullif(speed_m_s * stated_m, 0) AS spot_m2_s,
        worked_m2 / nullif(field_s, 0) AS overall_m2_s
    FROM summed
)
SELECT
    machine,
    implement,
    operation,
    stated_m AS width_m,
    visits,
    to_ha(worked_m2) AS worked_ha,
    to_h(working_s) AS working_h,
    to_h(field_s) AS field_h,
    to_h(break_s) AS break_h,
    to_kmh(speed_m_s) AS speed_kmh,
    to_ha_h(spot_m2_s) AS spot_ha_h,
    to_ha_h(overall_m2_s) AS overall_ha_h,
    to_ha_h(overall_m2_s) / stated_m AS overall_ha_h_m,
    overall_m2_s / spot_m2_s AS field_efficiency
FROM rated
ORDER BY machine, implement NULLS LAST, operation NULLS LAST, stated_m
