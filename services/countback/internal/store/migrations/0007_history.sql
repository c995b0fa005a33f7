-- +goose Up

-- Histories of a type and of all are read by the moment of change.
CREATE INDEX resource_version_by_updated ON resource_version (updated);
CREATE INDEX item_version_by_updated ON item_version (updated);

-- By which table of search parameters search_value was filled; one row, or none
-- before the first time.
CREATE TABLE search_index (
    mark TEXT NOT NULL
);
