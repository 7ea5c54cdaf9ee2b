-- First step of the log. Never edited once merged: a change is a new step.
-- Plain SQL that SQLite and PostgreSQL both take: TEXT ids, BIGINT micrograms (_ug)
-- and microseconds (_us; instants are UTC since 1970-01-01).
-- No foreign keys: an entry that names an unknown batch is still worth keeping, and a
-- refused row would hold up every row behind it.

CREATE TABLE batch (
    id TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    pieces BIGINT NOT NULL,
    target_ug BIGINT NOT NULL,
    low_ug BIGINT NOT NULL,
    high_ug BIGINT NOT NULL,
    solids_fraction DOUBLE PRECISION,
    pourer TEXT,
    jug TEXT,
    request TEXT NOT NULL,
    created_us BIGINT NOT NULL,
    begun_us BIGINT,
    ended_us BIGINT,
    -- Of the net masses of the newest revisions that count (committed, weighed, not void).
    n BIGINT NOT NULL,
    sum_ug BIGINT NOT NULL,
    -- A decimal number in square micrograms. A BIGINT would be full after nine
    -- pieces of 1 kg (1e18 each); text holds the exact 128-bit sum.
    sum_squares_ug2 TEXT NOT NULL,
    min_ug BIGINT,
    max_ug BIGINT
);

CREATE TABLE pour (
    id TEXT NOT NULL,
    rev BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    batch TEXT NOT NULL,
    piece BIGINT NOT NULL,
    started_us BIGINT NOT NULL,
    tare_ug BIGINT NOT NULL,
    target_ug BIGINT NOT NULL,
    low_ug BIGINT NOT NULL,
    high_ug BIGINT NOT NULL,
    first_net_ug BIGINT,
    net_ug BIGINT,
    net_u_ug BIGINT,
    rolled_ug BIGINT,
    top_ups BIGINT NOT NULL,
    dry_ug BIGINT,
    verdict TEXT NOT NULL,
    interrupted BOOLEAN NOT NULL,
    settled BOOLEAN NOT NULL,
    guided BOOLEAN NOT NULL,
    lasted_us BIGINT NOT NULL,
    contact_us BIGINT,
    flow_ug_s BIGINT,
    stop_cue_ug BIGINT,
    calibration TEXT,
    scale TEXT NOT NULL,
    PRIMARY KEY (id, rev)
);

CREATE UNIQUE INDEX pour_by_seq ON pour (seq);
CREATE INDEX pour_by_batch ON pour (batch, piece);

CREATE TABLE trace (
    pour TEXT NOT NULL PRIMARY KEY,
    bytes BYTEA NOT NULL
);

CREATE TABLE hand (
    key TEXT NOT NULL PRIMARY KEY,
    hand_us BIGINT NOT NULL,
    pours BIGINT NOT NULL
);
