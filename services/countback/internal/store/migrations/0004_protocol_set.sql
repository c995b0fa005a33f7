-- +goose Up

-- The value sets that a version of a protocol reads codes by, in the versions
-- that were current when it was stored: they stay its own.
CREATE TABLE protocol_set (
    url         TEXT NOT NULL,
    version     TEXT NOT NULL,
    id          TEXT NOT NULL, -- of the ValueSet
    set_version INTEGER NOT NULL,
    PRIMARY KEY (url, version, id)
) WITHOUT ROWID;
