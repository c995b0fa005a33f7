-- +goose Up

-- Where a source stands with a resource, by its own order: what it sent last in
-- that order, whenever it arrived. Only sources that give an order have rows.
CREATE TABLE source_order (
    source   TEXT NOT NULL,
    resource INTEGER NOT NULL,
    at       INTEGER,          -- meta.lastUpdated as sent; NULL: not said
    version  INTEGER,          -- meta.versionId as sent; NULL: not said, or no number
    hash     BLOB NOT NULL,    -- of what was sent, without id and meta
    disputed INTEGER,          -- since when two messages of this very order disagree
    PRIMARY KEY (resource, source)
) WITHOUT ROWID;
CREATE INDEX source_order_disputed ON source_order (resource) WHERE disputed IS NOT NULL;

-- What has come from each source.
CREATE TABLE feed (
    source     TEXT PRIMARY KEY,
    first      INTEGER NOT NULL, -- when it was first heard from
    last       INTEGER NOT NULL, -- and last
    newest     INTEGER,          -- the latest time that it gave itself
    messages   INTEGER NOT NULL,
    superseded INTEGER NOT NULL,
    conflicts  INTEGER NOT NULL,
    ahead      INTEGER NOT NULL
) WITHOUT ROWID;
