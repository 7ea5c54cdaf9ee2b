-- Seventh step of the log. Never edited once merged: a change is a new step.

-- A scale as it was found with reference masses: what was asked and read (JSON text), and the correction that came of
-- it: corrected = offset + slope x indicated + bend x indicated^2, in grams. Never changed: a new one is a new row.
CREATE TABLE calibration (
    id TEXT NOT NULL PRIMARY KEY,
    scale TEXT NOT NULL,
    made_us BIGINT NOT NULL,
    request TEXT NOT NULL,
    offset_g DOUBLE PRECISION NOT NULL,
    slope DOUBLE PRECISION NOT NULL,
    bend_per_g DOUBLE PRECISION NOT NULL,
    verdict TEXT NOT NULL
);

-- Which of them a scale goes by, from when on; NULL: by none. The greatest turn holds.
CREATE TABLE in_force (
    scale TEXT NOT NULL,
    turn BIGINT NOT NULL,
    since_us BIGINT NOT NULL,
    calibration TEXT,
    PRIMARY KEY (scale, turn)
);

-- The potter's own reference masses, as JSON text; the greatest version holds.
CREATE TABLE mass_set (
    version BIGINT NOT NULL PRIMARY KEY,
    body TEXT NOT NULL,
    made_us BIGINT NOT NULL
);

-- Daily checks: what one mass showed, corrected, less what it is.
CREATE TABLE scale_check (
    id TEXT NOT NULL PRIMARY KEY,
    scale TEXT NOT NULL,
    calibration TEXT,
    made_us BIGINT NOT NULL,
    mass_ug BIGINT NOT NULL,
    shown_ug BIGINT NOT NULL,
    error_ug BIGINT NOT NULL,
    u_ug BIGINT NOT NULL,
    room_c DOUBLE PRECISION,
    says TEXT NOT NULL
);
