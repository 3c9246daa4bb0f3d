-- purpose: Hectares worked per day, machine, operation and field
-- reads:   visits
-- param:   day date, optional: only this working day
-- column:  day date: working day by the farm's clock
-- column:  machine varchar
-- column:  operation varchar: empty while nobody has said what the work was
-- column:  field varchar
-- column:  worked_ha double [ha]: ground covered, overlap counted once; empty where no width is known
-- order:   day, machine, operation, field
SELECT
    day,
    machine,
    operation,
    field,
    to_ha(sum(worked_m2)) AS worked_ha
FROM visits
WHERE $day::DATE IS NULL OR day = $day::DATE
GROUP BY day, machine, operation, field
ORDER BY day, machine, operation NULLS LAST, field
