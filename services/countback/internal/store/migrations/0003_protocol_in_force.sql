-- +goose Up

-- Which protocol was in force since when; the last row is the one that is. Rows
-- are only added.
CREATE TABLE protocol_in_force (
    seq      INTEGER PRIMARY KEY,
    url      TEXT NOT NULL,
    version  TEXT NOT NULL,
    since    INTEGER NOT NULL,
    received INTEGER,      -- the message that asked for it; NULL: the service was started with it
    resource TEXT NOT NULL -- versioned reference to the definition as it is served
);

-- Open cases by the protocol that they were last planned by: what is still to be
-- planned again after a change of it.
CREATE INDEX care_case_by_protocol ON care_case (protocol, id) WHERE open = 1;
