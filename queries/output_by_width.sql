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
-- column:  bout_width_m double [m]: spacing of neighbouring bouts
-- column:  speed_low_kmh double [km/h]: low end of the middle half of the speed
-- column:  speed_high_kmh double [km/h]: high end
-- column:  days bigint: working days
-- column:  best_day_ha double [ha]: most that one machine did in a day
-- column:  turning_h double [h]
-- column:  filling_h double [h]
-- column:  standing_h double [h]: long breaks left out
-- column:  travelling_h double [h]: within fields
-- column:  unrecorded_h double [h]
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
            AS speed_m_s,
        sum(bout_width_m * working_s) / nullif(sum(working_s) FILTER (bout_width_m IS NOT NULL), 0)
            AS bout_width_m,
        sum(speed_low_m_s * working_s)
            / nullif(sum(working_s) FILTER (speed_low_m_s IS NOT NULL), 0) AS speed_low_m_s,
        sum(speed_high_m_s * working_s)
            / nullif(sum(working_s) FILTER (speed_high_m_s IS NOT NULL), 0) AS speed_high_m_s,
        count(DISTINCT day) AS days,
        sum(turning_s) AS turning_s,
        sum(filling_s) AS filling_s,
        sum(standing_s - break_s) AS standing_s,
        sum(travelling_s) AS travelling_s,
        sum(unrecorded_s) AS unrecorded_s
    FROM counted
    GROUP BY machine, implement, operation, stated_m
),
daily AS (
    SELECT machine, implement, operation, stated_m, max(day_m2) AS best_m2
    FROM (
        SELECT machine, implement, operation, stated_m, sum(worked_m2) AS day_m2
        FROM counted
        GROUP BY machine, implement, operation, stated_m, day
    )
    GROUP BY machine, implement, operation, stated_m
),
rated AS (
    SELECT
        summed.*,
        best_m2,
        nullif(speed_m_s * summed.stated_m, 0) AS spot_m2_s,
        worked_m2 / nullif(field_s, 0) AS overall_m2_s
    FROM summed
    JOIN daily
        ON daily.machine = summed.machine
        AND daily.implement IS NOT DISTINCT FROM summed.implement
        AND daily.operation IS NOT DISTINCT FROM summed.operation
        AND daily.stated_m = summed.stated_m
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
    overall_m2_s / spot_m2_s AS field_efficiency,
    bout_width_m,
    to_kmh(speed_low_m_s) AS speed_low_kmh,
    to_kmh(speed_high_m_s) AS speed_high_kmh,
    days,
    to_ha(best_m2) AS best_day_ha,
    to_h(turning_s) AS turning_h,
    to_h(filling_s) AS filling_h,
    to_h(standing_s) AS standing_h,
    to_h(travelling_s) AS travelling_h,
    to_h(unrecorded_s) AS unrecorded_h
FROM rated
ORDER BY machine, implement NULLS LAST, operation NULLS LAST, stated_m
