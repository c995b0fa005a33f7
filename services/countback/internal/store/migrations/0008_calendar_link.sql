-- +goose Up

-- Addresses at which a patient's or coach's calendar reads a case without
-- signing in. Only a hash of the address's secret is kept: who reads the
-- database cannot read the calendars.
CREATE TABLE calendar_link (
    id TEXT NOT NULL PRIMARY KEY,
    care_case TEXT NOT NULL,
    hash BLOB NOT NULL UNIQUE,
    holder TEXT NOT NULL, -- patient or coach
    made INTEGER NOT NULL,
    made_by TEXT NOT NULL,
    revoked INTEGER,
    revoked_by TEXT NOT NULL DEFAULT ''
);
CREATE INDEX calendar_link_by_case ON calendar_link (care_case, made);
