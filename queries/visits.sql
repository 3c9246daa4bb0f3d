-- purpose: One row for every stay of a machine in a field
-- reads:   visits
-- param:   day date, optional: only this working day
-- column:  visit varchar: handle to type
-- column:  day date: working day by the farm's clock
-- column:  machine varchar
-- column:  implement varchar: empty while nobody has said it
-- column:  driver varchar
-- column:  operation varchar
-- column:  job varchar: as said, else the planned job that it fits
-- column:  crop varchar: empty for stubble or bare soil
-- column:  harvest_year integer: as stated with the crop
-- column:  field varchar
-- column:  started_at timestamptz: UTC
-- column:  ended_at timestamptz: UTC
-- column:  boundary_ha double [ha]
-- column:  worked_ha double [ha]: ground covered, overlap counted once (net); empty where no width is known
-- column:  worked_low_ha double [ha]: low end of the 90 % range
-- column:  worked_high_ha double [ha]: high end of the 90 % range
-- column:  gross_ha double [ha]: distance worked x width
-- column:  overlap_ha double [ha]
-- column:  missed_ha double [ha]
-- column:  working_h double [h]
-- column:  turning_h double [h]
-- column:  filling_h double [h]
-- column:  standing_h double [h]: long breaks included
-- column:  travelling_h double [h]
-- column:  unrecorded_h double [h]
-- column:  speed_kmh double [km/h]: mean over the time working
-- column:  width_m double [m]: working width as stated, else as used
-- column:  rate_ha_h double [ha/h]: overall rate: worked area / time in the field, long breaks left out
-- column:  unseen_ha double [ha]: not looked at, as a private place hides it; not counted as missed
-- order:   day, started_at, machine, visit
SELECT
    handle AS visit,
    day,
    machine,
    implement,
    driver,
    operation,
    job,
    crop,
    harvest_year,
    field,
    started_at,
    ended_at,
    to_ha(boundary_m2) AS boundary_ha,
    to_ha(worked_m2) AS worked_ha,
    to_ha(worked_low_m2) AS worked_low_ha,
    to_ha(worked_high_m2) AS worked_high_ha,
    to_ha(gross_m2) AS gross_ha,
    to_ha(overlap_m2) AS overlap_ha,
    to_ha(missed_m2) AS missed_ha,
    to_h(working_s) AS working_h,
    to_h(turning_s) AS turning_h,
    to_h(filling_s) AS filling_h,
    to_h(standing_s) AS standing_h,
    to_h(travelling_s) AS travelling_h,
    to_h(unrecorded_s) AS unrecorded_h,
    to_kmh(speed_m_s) AS speed_kmh,
    coalesce(width_m, width_used_m) AS width_m,
    to_ha_h(nullif(worked_m2, 0) / nullif(field_s - break_s, 0)) AS rate_ha_h,
    to_ha(unseen_m2) AS unseen_ha
FROM visits
WHERE $day::DATE IS NULL OR day = $day::DATE
ORDER BY day, started_at, machine, handle
