-- purpose: Work for customers: what was done, the quantity charged by, and the sum
-- reads:   customers, prices, ground, visits
-- param:   customer varchar, optional: only this customer
-- param:   first_day date, optional: only work begun on or after this day
-- param:   last_day date, optional: only work begun on or before this day
-- column:  customer varchar
-- column:  farm varchar
-- column:  field varchar
-- column:  operation varchar
-- column:  pass integer: 2 once a second covering goes over more than half of the first
-- column:  crop varchar
-- column:  harvest_year integer
-- column:  began date
-- column:  ended date
-- column:  basis varchar: field (its area, or the ground done while it is part-done), net, gross or hours
-- column:  quantity double: in the unit, to the hundredth, as it is charged; empty where it was not measured
-- column:  unit varchar: ha or h
-- column:  price double: for one of the unit; empty where none is stated
-- column:  currency varchar
-- column:  amount double: that quantity x price, VAT not in it, not rounded
-- column:  is_part_done boolean: the field is not finished
-- column:  visits varchar: handles of the stays that it rests on
-- order:   customer, began, field, operation, pass, crop, harvest_year
WITH passed AS (
    SELECT
        field,
        operation,
        pass,
        crop,
        harvest_year,
        boundary_m2,
        done_m2,
        is_finished,
        unnest(visit_ids) AS event_id
    FROM ground
),
-- Work whose ground is not known stands on lines of its own.
stays AS (
    SELECT
        visits.event_id,
        visits.field,
        coalesce(passed.operation, visits.operation) AS operation,
        passed.pass,
        visits.crop,
        visits.harvest_year,
        coalesce(passed.boundary_m2, visits.boundary_m2) AS boundary_m2,
        passed.done_m2,
        passed.is_finished,
        visits.day,
        visits.started_at,
        visits.handle,
        visits.worked_m2,
        visits.gross_m2,
        visits.field_s - visits.break_s AS charged_s
    FROM visits
    LEFT JOIN passed ON passed.event_id = visits.event_id
    WHERE visits.working_s > 0 AND visits.operation IS NOT NULL
),
work AS (
    SELECT
        field,
        operation,
        pass,
        crop,
        harvest_year,
        min(day) AS began,
        max(day) AS ended,
        CASE WHEN bool_and(is_finished) THEN any_value(boundary_m2) ELSE any_value(done_m2) END
            AS field_m2,
        sum(worked_m2) AS net_m2,
        sum(gross_m2) AS gross_m2,
        sum(charged_s) AS charged_s,
        NOT coalesce(bool_and(is_finished), false) AS is_part_done,
        string_agg(handle, ' ' ORDER BY started_at, handle) AS visits
    FROM stays
    GROUP BY field, operation, pass, crop, harvest_year
),
charged AS (
    SELECT
        customers.customer,
        customers.farm,
        work.*,
        -- The customer's own price first, then the newest.
        (
            SELECT arg_max(
                struct_pack(price := price, currency := currency, per := per, basis := basis),
                (customer IS NOT NULL, coalesce(valid_from, DATE '0001-01-01'), event_id)
            )
            FROM prices
            WHERE lower(prices.operation) = lower(work.operation)
              AND (prices.customer IS NULL OR lower(prices.customer) = lower(customers.customer))
              AND (valid_from IS NULL OR valid_from <= work.began)
        ) AS priced
    FROM work
    JOIN customers ON lower(customers.field) = lower(work.field)
),
measured AS (
    SELECT
        *,
        coalesce(priced.basis, 'field') AS basis,
        -- As it is printed: whoever pays must be able to multiply it by the price himself.
        round(
            CASE coalesce(priced.basis, 'field')
                WHEN 'field' THEN to_ha(field_m2)
                WHEN 'net' THEN to_ha(net_m2)
                WHEN 'gross' THEN to_ha(gross_m2)
                WHEN 'hours' THEN to_h(charged_s)
            END,
            2
        ) AS quantity
    FROM charged
)
SELECT
    customer,
    farm,
    field,
    operation,
    pass,
    crop,
    harvest_year,
    began,
    ended,
    basis,
    quantity,
    CASE basis WHEN 'hours' THEN 'h' ELSE 'ha' END AS unit,
    priced.price AS price,
    priced.currency AS currency,
    quantity * priced.price AS amount,
    is_part_done,
    visits
FROM measured
WHERE ($customer::VARCHAR IS NULL OR lower(customer) = lower($customer::VARCHAR))
  AND ($first_day::DATE IS NULL OR began >= $first_day::DATE)
  AND ($last_day::DATE IS NULL OR began <= $last_day::DATE)
ORDER BY
    customer,
    began,
    field,
    operation,
    pass NULLS LAST,
    crop NULLS LAST,
    harvest_year NULLS LAST
