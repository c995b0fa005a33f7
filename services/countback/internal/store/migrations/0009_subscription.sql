-- +goose Up

-- How far each Subscription is: events get numbers up to an outbox row, and are
-- delivered up to a number. Rows of deleted Subscriptions are deleted.
CREATE TABLE subscription (
    id            TEXT NOT NULL PRIMARY KEY,
    status        TEXT NOT NULL,
    numbered_to   INTEGER NOT NULL, -- outbox.seq
    events        INTEGER NOT NULL, -- the last number that was given
    delivered     INTEGER NOT NULL, -- the last number that the receiver took
    greet         INTEGER NOT NULL, -- a handshake is to be answered before anything else
    failures      INTEGER NOT NULL, -- in a row
    failing_since INTEGER,
    not_before    INTEGER,          -- when the next attempt may be made
    sent_at       INTEGER,          -- when the receiver last took anything
    ends_at       INTEGER,
    heartbeat     INTEGER NOT NULL  -- seconds without news after which a sign of life is sent; 0: never
);

-- Events that a Subscription asks for. number counts 1, 2, 3 … within it.
CREATE TABLE subscription_event (
    subscription TEXT NOT NULL,
    number       INTEGER NOT NULL,
    event_id     TEXT NOT NULL,
    case_id      TEXT NOT NULL,
    at           INTEGER NOT NULL,
    news         BLOB NOT NULL,
    PRIMARY KEY (subscription, number)
) WITHOUT ROWID;
