-- +goose Up

-- Every case by its day of surgery, those that ended too: what the programme's
-- report counts.
CREATE INDEX care_case_by_day ON care_case (surgery, id) WHERE surgery <> '';
