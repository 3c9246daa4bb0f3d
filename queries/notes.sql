-- purpose: Notes on fields, machines, visits and days
-- reads:   notes
-- param:   field varchar, optional: only notes on this field
-- param:   text varchar, optional: only notes with this in them
-- column:  handle varchar
-- column:  day date
-- column:  field varchar
-- column:  machine varchar
-- column:  visit varchar: handle
-- column:  note varchar
-- column:  stated_by varchar
-- column:  stated_at timestamptz: UTC
-- order:   stated_at, handle
SELECT
    handle,
    day,
    field,
    machine,
    left(visit, 5) AS visit,
    note,
    stated_by,
    stated_at
FROM notes
WHERE ($field::VARCHAR IS NULL OR lower(field) = lower($field::VARCHAR))
  AND ($text::VARCHAR IS NULL OR contains(lower(note), lower($text::VARCHAR)))
ORDER BY stated_at, handle
