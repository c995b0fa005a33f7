-- +goose Up

-- What lists of cases are sorted and narrowed by; what was there before takes
-- it from what the case row remembers of its booking.
ALTER TABLE care_case ADD COLUMN surgery TEXT NOT NULL DEFAULT '';
ALTER TABLE care_case ADD COLUMN surgeon TEXT NOT NULL DEFAULT '';
ALTER TABLE care_case ADD COLUMN place TEXT NOT NULL DEFAULT '';
UPDATE care_case
SET surgery = coalesce(json_extract(CAST(data AS TEXT), '$.day'), ''),
    surgeon = coalesce(json_extract(CAST(data AS TEXT), '$.details.surgeon'), '')
WHERE json_valid(CAST(data AS TEXT));
CREATE INDEX care_case_by_surgery ON care_case (surgery, id) WHERE open = 1;
CREATE INDEX care_case_by_state ON care_case (state, surgery, id) WHERE open = 1;

-- What presses now, by its case: the list of the day walks the cases by their
-- day of surgery and meets nothing else.
CREATE INDEX item_pressing ON item (care_case, step, state) WHERE state IN ('due', 'late');
