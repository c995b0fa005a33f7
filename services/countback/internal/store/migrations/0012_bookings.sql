-- +goose Up

-- Bookings that are held and have no open case, with the reason: written by the
-- transaction that decides it. Who is left out wrongly is prepared by nobody.
CREATE TABLE unplanned (
    patient TEXT NOT NULL,
    booking TEXT NOT NULL,    -- reference of the resource that stands for it
    reason  TEXT NOT NULL,
    kind    TEXT NOT NULL,    -- what it is to whoever looks for bookings that were missed
    day     TEXT NOT NULL,    -- of surgery, 2006-01-02; empty: none
    since   INTEGER NOT NULL, -- for this reason
    PRIMARY KEY (patient, booking)
) WITHOUT ROWID;
CREATE INDEX unplanned_by_day ON unplanned (kind, day, booking);

-- By which protocol all bookings were last looked through for it; one row, or none
-- before the first time.
CREATE TABLE unplanned_read (
    protocol TEXT NOT NULL
);

-- What a person said of a booking and a record: that they belong together, or that
-- they do not. task is where it was said; the last that was said counts.
CREATE TABLE said (
    patient TEXT NOT NULL,
    booking TEXT NOT NULL, -- references
    record  TEXT NOT NULL,
    belongs INTEGER NOT NULL,
    task    TEXT NOT NULL,
    at      INTEGER NOT NULL,
    PRIMARY KEY (patient, booking, record, task)
) WITHOUT ROWID;
CREATE INDEX said_on_task ON said (task);

-- Records of which a message changed whose they are, from one known person to
-- another; rows are only added.
CREATE TABLE moved_record (
    seq    INTEGER PRIMARY KEY,
    at     INTEGER NOT NULL,
    source TEXT NOT NULL,
    type   TEXT NOT NULL,
    id     TEXT NOT NULL,
    was    TEXT NOT NULL, -- patients
    now    TEXT NOT NULL
);
CREATE INDEX moved_record_by_time ON moved_record (at);
