-- +goose Up

-- Who is at work on a case's timer, and how often that was begun in vain. Rows
-- are there only while it is worked on or after it failed; without one the timer
-- is free.
CREATE TABLE timer_lease (
    case_id  TEXT PRIMARY KEY,
    due_at   INTEGER NOT NULL, -- care_case.next_at that it was taken for; of another one it means nothing
    holder   TEXT NOT NULL,    -- empty: nobody, the case rests after a failure
    until    INTEGER NOT NULL, -- from then on anyone may take it
    attempts INTEGER NOT NULL  -- begun and not finished, in a row
);
