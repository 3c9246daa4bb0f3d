-- purpose: Each input: what it went on, the rate by applied, net and gross area, and loads
-- reads:   inputs, input_visits, visits, kit
-- param:   harvest_year integer, optional: only inputs to work that counts to this harvest
-- column:  input varchar: handle to type
-- column:  day date: first working day it went out on; as stated where no work fits
-- column:  product varchar
-- column:  kind varchar: seed, spray, fertiliser, fuel or water
-- column:  went_to varchar: the job, field or machine that was named
-- column:  visits bigint: stays in fields that it went to
-- column:  used double: what was left over taken off
-- column:  left_over double
-- column:  unit varchar: kg or l; rates are in it per hectare
-- column:  applied_ha double [ha]: with sections that shut off, net and at most one section's overlap
-- column:  net_ha double [ha]: ground covered, overlap counted once
-- column:  gross_ha double [ha]: distance worked x width
-- column:  applied_rate double
-- column:  net_rate double
-- column:  gross_rate double
-- column:  stated_rate double: dose as stated
-- column:  loads double: fills of the tank or hopper; as stated, else by what it holds
-- column:  load_ha double [ha]: ground that one full tank or hopper does
-- column:  load_m double [m]: way that it lasts
-- column:  refills_expected bigint: when the first fill was before the work
-- column:  refills_seen bigint: stops to fill in the tracks
-- column:  boom_l_min double [l/min]: litres a minute through the whole width at the mean speed
-- column:  nozzle_l_min double [l/min]: through one nozzle, where their spacing was stated
-- column:  caution varchar: goes with what is sprayed or spread
-- order:   day, input
WITH held AS (
    SELECT
        lower(name) AS implement,
        arg_max(holds_kg, coalesce(valid_from, DATE '0001-01-01')) AS holds_kg,
        arg_max(holds_l, coalesce(valid_from, DATE '0001-01-01')) AS holds_l
    FROM kit
    WHERE NOT is_machine
    GROUP BY lower(name)
),
went AS (
    SELECT
        input_id,
        count(*) AS visits,
        CASE WHEN count(DISTINCT visits.field) = 1 THEN any_value(visits.field) END AS went_in,
        min(day) AS first_day,
        any_value(harvest_year) AS harvest_year,
        sum(coalesce(applied_m2, worked_m2)) AS applied_m2,
        sum(worked_m2) AS net_m2,
        sum(gross_m2) AS gross_m2,
        sum(fillings) AS fillings,
        sum(speed_m_s * working_s) / nullif(sum(working_s) FILTER (speed_m_s IS NOT NULL), 0)
            AS speed_m_s,
        any_value(coalesce(width_m, width_used_m)) AS width_m,
        any_value(lower(implement)) AS implement
    FROM input_visits
    JOIN visits ON visits.event_id = visit_event_id
    GROUP BY input_id
),
used AS (
    SELECT
        inputs.*,
        went.* EXCLUDE (input_id, implement),
        amount - coalesce(left_over, 0) AS used,
        CASE WHEN unit = 'kg' AND kind <> 'fuel' THEN holds_kg
             WHEN unit = 'l' AND kind <> 'fuel' THEN holds_l END AS holds,
        CASE WHEN kind = 'spray' THEN water_l_ha ELSE NULL END AS mixed_l,
        holds_l
    FROM inputs
    LEFT JOIN went ON went.input_id = inputs.event_id
    LEFT JOIN held ON held.implement = went.implement
),
-- A sprayer's tank is filled with water more than with product.
tanked AS (
    SELECT
        *,
        coalesce(mixed_l, used / nullif(to_ha(applied_m2), 0)) AS tank_rate,
        CASE WHEN kind = 'spray' THEN CASE WHEN mixed_l IS NOT NULL THEN holds_l END
             ELSE holds END AS tank
    FROM used
),
filled AS (
    SELECT
        *,
        coalesce(loads, to_ha(applied_m2) * tank_rate / nullif(tank, 0)) AS fills,
        -- Of a spray the water tells it, and nothing does where that was not stated.
        CASE WHEN kind = 'spray' THEN mixed_l
             WHEN kind IN ('water', 'fertiliser') AND unit = 'l' THEN tank_rate END AS liquid_rate
    FROM tanked
)
SELECT
    handle AS input,
    coalesce(first_day, day) AS day,
    product,
    kind,
    -- Ground that had no name when it was said is called as it is now.
    coalesce(
        job, CASE WHEN field = '' THEN went_in ELSE field END, machine, CAST(day AS VARCHAR)
    ) AS went_to,
    coalesce(visits, 0) AS visits,
    used,
    left_over,
    unit,
    to_ha(applied_m2) AS applied_ha,
    to_ha(net_m2) AS net_ha,
    to_ha(gross_m2) AS gross_ha,
    used / nullif(to_ha(applied_m2), 0) AS applied_rate,
    used / nullif(to_ha(net_m2), 0) AS net_rate,
    used / nullif(to_ha(gross_m2), 0) AS gross_rate,
    per_ha AS stated_rate,
    fills AS loads,
    tank / nullif(tank_rate, 0) AS load_ha,
    tank / nullif(tank_rate, 0) / to_ha(nullif(width_m, 0)) AS load_m,
    CAST(greatest(ceil(fills - 0.01) - 1, 0) AS BIGINT) AS refills_expected,
    CASE WHEN kind <> 'fuel' THEN CAST(fillings AS BIGINT) END AS refills_seen,
    per_minute(liquid_rate * to_ha(speed_m_s * width_m)) AS boom_l_min,
    per_minute(liquid_rate * to_ha(speed_m_s * nozzle_m)) AS nozzle_l_min,
    CASE WHEN kind IN ('spray', 'fertiliser')
         THEN 'The label, local rules and a qualified adviser decide.' END AS caution
FROM filled
WHERE $harvest_year::INTEGER IS NULL OR harvest_year = $harvest_year::INTEGER
ORDER BY 2 NULLS LAST, input
