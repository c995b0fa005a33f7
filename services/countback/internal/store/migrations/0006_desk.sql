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

-- What presses now, by step and state, those whose day of surgery is nearest
-- first: the list of the day reads the head of each and nothing else.
ALTER TABLE item ADD COLUMN surgery TEXT NOT NULL DEFAULT ''; -- as in care_case
UPDATE item SET surgery = (SELECT surgery FROM care_case WHERE seq = item.care_case);
CREATE INDEX item_pressing ON item (step, state, surgery, care_case, n) WHERE state IN ('due', 'late');
CREATE INDEX care_case_by_surgeon ON care_case (surgeon, surgery, id) WHERE open = 1;
CREATE INDEX care_case_by_place ON care_case (place, surgery, id) WHERE open = 1;

-- What waits, by when it is due: the workload of the weeks ahead.
CREATE INDEX item_waiting ON item (due_from, step) WHERE state IN ('upcoming', 'open', 'due', 'late', 'paused');
