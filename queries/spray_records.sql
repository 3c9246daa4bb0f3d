-- purpose: What a record of plant protection holds, spray by spray and field by field, and what is missing
-- reads:   inputs, input_visits, visits
-- param:   harvest_year integer, optional: only work that counts to this harvest
-- column:  input varchar: handle to type
-- column:  visit varchar: handle of the stay; its treated ground is in the export
-- column:  day date: working day by the farm's clock
-- column:  started_at timestamptz: first moment in the field, UTC
-- column:  start varchar: local time of day as stated
-- column:  field varchar
-- column:  crop varchar
-- column:  eppo varchar: EPPO code of the crop
-- column:  bbch varchar: growth stage
-- column:  product varchar
-- column:  authorisation varchar: authorisation number of the product
-- column:  use varchar: type of use
-- column:  dose double: a hectare; as stated, else what went out over the treated area
-- column:  unit varchar: kg or l
-- column:  treated_ha double [ha]: net: ground covered, counted once
-- column:  used double: this field's share
-- column:  water_rate double: litres of water a hectare
-- column:  operator varchar: as stated, else the driver
-- column:  machine varchar
-- column:  wind_force double: Beaufort
-- column:  wind_from varchar
-- column:  missing varchar: what a record asks for and this one lacks; empty where complete
-- column:  caution varchar: goes with every record
-- order:   started_at, input, visit
WITH treated AS (
    SELECT
        inputs.handle AS input,
        visits.handle AS visit,
        coalesce(visits.day, inputs.day) AS day,
        visits.started_at,
        inputs.started,
        coalesce(visits.field, inputs.field) AS field,
        visits.crop,
        visits.harvest_year,
        eppo,
        bbch,
        product,
        authorisation,
        use,
        inputs.per_ha,
        unit,
        worked_m2 AS treated_m2,
        (amount - coalesce(left_over, 0)) * coalesce(share, 1) AS used,
        water_l_ha,
        coalesce(operator, driver) AS operator,
        coalesce(visits.machine, inputs.machine) AS machine,
        wind_force,
        wind_from
    FROM inputs
    LEFT JOIN input_visits ON input_visits.input_id = inputs.event_id
    LEFT JOIN visits ON visits.event_id = input_visits.visit_event_id
    WHERE kind = 'spray'
),
dosed AS (
    SELECT *, coalesce(per_ha, used / nullif(to_ha(treated_m2), 0)) AS dose FROM treated
)
SELECT
    input,
    visit,
    day,
    started_at,
    started AS start,
    field,
    crop,
    eppo,
    bbch,
    product,
    authorisation,
    use,
    dose,
    unit,
    to_ha(treated_m2) AS treated_ha,
    used,
    water_l_ha AS water_rate,
    operator,
    machine,
    wind_force,
    wind_from,
    nullif(concat_ws(', ',
        CASE WHEN authorisation IS NULL THEN 'authorisation number' END,
        CASE WHEN day IS NULL THEN 'date' END,
        CASE WHEN started IS NULL AND started_at IS NULL THEN 'start time' END,
        CASE WHEN dose IS NULL THEN 'dose' END,
        CASE WHEN treated_m2 IS NULL THEN 'treated area' END,
        CASE WHEN field IS NULL THEN 'location' END,
        CASE WHEN crop IS NULL THEN 'crop' END,
        CASE WHEN eppo IS NULL THEN 'EPPO code' END,
        CASE WHEN bbch IS NULL THEN 'BBCH stage' END,
        CASE WHEN operator IS NULL THEN 'operator' END,
        CASE WHEN water_l_ha IS NULL THEN 'water volume' END,
        CASE WHEN wind_force IS NULL THEN 'wind force' END,
        CASE WHEN wind_from IS NULL THEN 'wind direction' END
    ), '') AS missing,
    'The label, local rules and a qualified adviser decide.' AS caution
FROM dosed
WHERE $harvest_year::INTEGER IS NULL OR harvest_year = $harvest_year::INTEGER
ORDER BY started_at NULLS LAST, input, visit NULLS LAST
