-- Masses are micrograms, times microseconds (wall times since 1970 UTC). Both SQLite and PostgreSQL take this.
CREATE TABLE batch (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    pieces BIGINT NOT NULL,
    target_ug BIGINT NOT NULL,
    low_ug BIGINT NOT NULL,
    high_ug BIGINT NOT NULL,
    solids_ppb BIGINT,
    pourer TEXT,
    jug TEXT,
    request TEXT NOT NULL,
    created_us BIGINT NOT NULL,
    begun_us BIGINT,
    ended_us BIGINT,
    n BIGINT NOT NULL DEFAULT 0,
    sum_ug BIGINT NOT NULL DEFAULT 0,
    sum_sq_mg2 BIGINT NOT NULL DEFAULT 0,
    min_ug BIGINT,
    max_ug BIGINT
);
CREATE TABLE pour (
    id TEXT NOT NULL,
    rev BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    batch TEXT NOT NULL REFERENCES batch (id),
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
    interrupted BIGINT NOT NULL,
    settled BIGINT NOT NULL,
    guided BIGINT NOT NULL,
    lasted_us BIGINT NOT NULL,
    contact_us BIGINT,
    flow_ug_s BIGINT,
    stop_cue_ug BIGINT,
    calibration TEXT,
    scale TEXT NOT NULL,
    newest BIGINT NOT NULL,
    PRIMARY KEY (id, rev)
);
CREATE INDEX pour_of_batch ON pour (batch, newest, piece);
CREATE INDEX pour_seq ON pour (seq);
CREATE TABLE trace (
    pour TEXT PRIMARY KEY,
    body TEXT NOT NULL
);
CREATE TABLE hand (
    who TEXT PRIMARY KEY,
    hand_us BIGINT NOT NULL,
    pours BIGINT NOT NULL
);
