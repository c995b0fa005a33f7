-- +goose Up

-- What nobody has found out whether it applies, those whose day of surgery is
-- nearest first: the list of the day reads its head and nothing else.
CREATE INDEX item_in_doubt ON item (surgery, care_case, n, step, due_to) WHERE status = 'draft' AND state = 'upcoming';
