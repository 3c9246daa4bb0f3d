-- purpose: Hectares and hours of a season per harvest year, operation and machine
-- reads:   visits
-- param:   harvest_year integer, optional: only work that counts to this harvest
-- column:  harvest_year integer: as stated with the crop; empty for stubble or bare soil
-- column:  operation varchar
-- column:  machine varchar
-- column:  worked_ha double [ha]: ground covered by each visit, overlap counted once
-- column:  working_h double [h]
-- column:  turning_h double [h]
-- column:  filling_h double [h]
-- column:  standing_h double [h]: breaks included
-- column:  travelling_h double [h]: within fields
-- column:  unrecorded_h double [h]
-- column:  fields bigint: fields worked in
-- column:  days bigint: working days
-- order:   harvest_year, operation, machine
SELECT
    harvest_year,
    operation,
    machine,
    to_ha(sum(worked_m2)) AS worked_ha,
    to_h(sum(working_s)) AS working_h,
    to_h(sum(turning_s)) AS turning_h,
    to_h(sum(filling_s)) AS filling_h,
    to_h(sum(standing_s)) AS standing_h,
    to_h(sum(travelling_s)) AS travelling_h,
    to_h(sum(unrecorded_s)) AS unrecorded_h,
    count(DISTINCT lower(field)) AS fields,
    count(DISTINCT day) AS days
FROM visits
WHERE $harvest_year::INTEGER IS NULL OR harvest_year = $harvest_year::INTEGER
GROUP BY harvest_year, operation, machine
ORDER BY harvest_year NULLS LAST, operation NULLS LAST, machine
