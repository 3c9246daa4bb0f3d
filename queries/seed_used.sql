-- purpose: Each setting of a drill: what the calibration gave, and what the fields then got
-- reads:   calibrations, visits, inputs, input_visits
-- column:  implement varchar
-- column:  product varchar
-- column:  day date: of the setting
-- column:  handle varchar: tells settings of one day apart
-- column:  wanted_rate double: kg a hectare
-- column:  turned_m2 double [m2]: area that was turned
-- column:  expected_kg double [kg]: for that area at the rate wanted
-- column:  caught_kg double [kg]
-- column:  calibration_error double [%]: caught over expected, less 100
-- column:  drilled_ha double [ha]: net, since then and until the next setting
-- column:  drilled_low_ha double [ha]: low end of the 90 % range
-- column:  drilled_high_ha double [ha]: high end
-- column:  used_kg double [kg]: seed stated for that work, what was left over taken off
-- column:  used_rate double: kg a hectare
-- column:  rate_error double [%]: used rate over wanted rate, less 100
-- order:   implement, day, handle
WITH set_until AS (
    SELECT
        *,
        lead(day) OVER (PARTITION BY lower(implement) ORDER BY day, stated_at, handle) AS next_day
    FROM calibrations
),
drilled AS (
    SELECT
        set_until.handle,
        sum(worked_m2) AS worked_m2,
        sum(worked_low_m2) AS low_m2,
        sum(worked_high_m2) AS high_m2
    FROM set_until
    JOIN visits
        ON lower(visits.implement) = lower(set_until.implement)
        AND visits.day >= set_until.day
        AND (next_day IS NULL OR visits.day < next_day)
    GROUP BY set_until.handle
),
sown AS (
    SELECT
        set_until.handle,
        sum((amount - coalesce(left_over, 0)) * share) AS used_kg,
        sum(visits.worked_m2) AS over_m2
    FROM set_until
    JOIN visits
        ON lower(visits.implement) = lower(set_until.implement)
        AND visits.day >= set_until.day
        AND (next_day IS NULL OR visits.day < next_day)
    JOIN input_visits ON input_visits.visit_event_id = visits.event_id
    JOIN inputs
        ON inputs.event_id = input_visits.input_id
        AND lower(inputs.product) = lower(set_until.product)
        AND inputs.unit = 'kg'
    GROUP BY set_until.handle
),
rated AS (
    SELECT
        set_until.*,
        rate_kg_ha * to_ha(calibrated_m2) AS expected_kg,
        worked_m2,
        low_m2,
        high_m2,
        used_kg,
        used_kg / nullif(to_ha(over_m2), 0) AS used_rate
    FROM set_until
    LEFT JOIN drilled ON drilled.handle = set_until.handle
    LEFT JOIN sown ON sown.handle = set_until.handle
)
SELECT
    implement,
    product,
    day,
    handle,
    rate_kg_ha AS wanted_rate,
    calibrated_m2 AS turned_m2,
    expected_kg,
    caught_kg,
    100.0::DOUBLE * (caught_kg / nullif(expected_kg, 0) - 1) AS calibration_error,
    to_ha(worked_m2) AS drilled_ha,
    to_ha(low_m2) AS drilled_low_ha,
    to_ha(high_m2) AS drilled_high_ha,
    used_kg,
    used_rate,
    100.0::DOUBLE * (used_rate / nullif(rate_kg_ha, 0) - 1) AS rate_error
FROM rated
ORDER BY implement, day, handle
