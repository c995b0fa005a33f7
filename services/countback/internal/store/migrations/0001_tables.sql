-- +goose Up

-- What was received, byte for byte.
CREATE TABLE received (
    id           INTEGER PRIMARY KEY,
    at           INTEGER NOT NULL,
    source       TEXT NOT NULL,
    content_type TEXT NOT NULL,
    method       TEXT NOT NULL,
    target       TEXT NOT NULL,
    body         BLOB
);

-- One row a resource; it names the newest of its versions.
CREATE TABLE resource (
    seq     INTEGER PRIMARY KEY,
    type    TEXT NOT NULL,
    id      TEXT NOT NULL,
    version INTEGER NOT NULL,
    updated INTEGER NOT NULL,
    deleted INTEGER NOT NULL,
    patient TEXT NOT NULL,
    UNIQUE (id, type) -- ids rise with time: what is made together lies together
);
CREATE INDEX resource_by_updated ON resource (type, updated);
CREATE INDEX resource_by_patient ON resource (patient, type) WHERE patient <> '';

-- Every version of a resource; rows are only added.
CREATE TABLE resource_version (
    seq      INTEGER PRIMARY KEY,
    resource INTEGER NOT NULL,
    version  INTEGER NOT NULL,
    updated  INTEGER NOT NULL,
    deleted  INTEGER NOT NULL,
    received INTEGER,
    body     BLOB,
    UNIQUE (resource, version)
);

-- What a resource is found by. param is type and name of the rows.
CREATE TABLE search_value (
    resource INTEGER NOT NULL,
    ord      INTEGER NOT NULL,
    param    TEXT NOT NULL,
    system   TEXT NOT NULL,
    value    TEXT NOT NULL,
    low      INTEGER,
    high     INTEGER,
    PRIMARY KEY (resource, ord)
) WITHOUT ROWID;
CREATE INDEX search_by_value ON search_value (param, value, system) WHERE low IS NULL;
CREATE INDEX search_by_date ON search_value (param, low, high) WHERE low IS NOT NULL;

CREATE TABLE care_case (
    seq      INTEGER PRIMARY KEY,
    id       TEXT NOT NULL UNIQUE,
    patient  TEXT NOT NULL,
    key      TEXT NOT NULL,
    state    TEXT NOT NULL,
    sequence INTEGER NOT NULL,
    next_at  INTEGER,
    open     INTEGER NOT NULL,
    protocol TEXT NOT NULL,
    updated  INTEGER NOT NULL,
    data     BLOB
);
CREATE INDEX care_case_by_patient ON care_case (patient);
CREATE INDEX care_case_due ON care_case (next_at) WHERE next_at IS NOT NULL;
CREATE INDEX care_case_open ON care_case (id) WHERE open = 1;

-- Texts that very many rows share.
CREATE TABLE name (
    id   INTEGER PRIMARY KEY,
    text TEXT NOT NULL UNIQUE
);

-- The current state of every item, which is also what a Task is found by. The
-- id of the Task is that of the case and n. Rows of a case lie together.
CREATE TABLE item (
    care_case  INTEGER NOT NULL,
    n          INTEGER NOT NULL,
    step       TEXT NOT NULL,
    repeat     TEXT NOT NULL,
    round      INTEGER NOT NULL,
    created    INTEGER NOT NULL,
    version    INTEGER NOT NULL,
    updated    INTEGER NOT NULL,
    state      TEXT NOT NULL,
    status     TEXT NOT NULL,
    owner      TEXT NOT NULL,
    focus      INTEGER NOT NULL,
    based_on   INTEGER NOT NULL,
    opens_from INTEGER,
    opens_to   INTEGER,
    due_from   INTEGER,
    due_to     INTEGER,
    protocol   INTEGER NOT NULL,
    data       BLOB,
    PRIMARY KEY (care_case, n)
) WITHOUT ROWID;
CREATE INDEX item_by_due ON item (status, due_from) WHERE status <> 'draft';
CREATE INDEX item_by_updated ON item (updated);

-- The versions of an item before the current one; rows are only added. The
-- current version lies in item alone, so that every version is stored once.
CREATE TABLE item_version (
    care_case  INTEGER NOT NULL,
    n          INTEGER NOT NULL,
    version    INTEGER NOT NULL,
    updated    INTEGER NOT NULL,
    state      TEXT NOT NULL,
    status     TEXT NOT NULL,
    owner      TEXT NOT NULL,
    focus      INTEGER NOT NULL,
    based_on   INTEGER NOT NULL,
    opens_from INTEGER,
    opens_to   INTEGER,
    due_from   INTEGER,
    due_to     INTEGER,
    protocol   INTEGER NOT NULL,
    data       BLOB,
    PRIMARY KEY (care_case, n, version)
) WITHOUT ROWID;

-- Events; published_at is the state that the relay goes by.
CREATE TABLE outbox (
    seq           INTEGER PRIMARY KEY AUTOINCREMENT,
    id            TEXT NOT NULL UNIQUE,
    case_id       TEXT NOT NULL,
    case_sequence INTEGER NOT NULL,
    subject       TEXT NOT NULL,
    body          BLOB,
    created_at    INTEGER NOT NULL,
    published_at  INTEGER,
    stream_seq    INTEGER,
    UNIQUE (case_id, case_sequence)
);
CREATE INDEX outbox_unpublished ON outbox (seq) WHERE published_at IS NULL;

-- A version of a protocol never changes once it is stored.
CREATE TABLE protocol (
    url      TEXT NOT NULL,
    version  TEXT NOT NULL,
    saved_at INTEGER NOT NULL,
    body     BLOB NOT NULL,
    PRIMARY KEY (url, version)
);
