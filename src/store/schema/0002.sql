-- Second step of the log. Never edited once merged: a change is a new step.

-- What is to be known of a pour besides its numbers: words apart by blanks.
ALTER TABLE pour ADD COLUMN marks TEXT NOT NULL DEFAULT '';

-- Pieces of one glaze are numbered on from batch to batch.
ALTER TABLE batch ADD COLUMN glaze_name TEXT;
ALTER TABLE batch ADD COLUMN vessel TEXT;
-- The bare pieces weigh from so much to so much, where that was told.
ALTER TABLE batch ADD COLUMN bare_least_ug BIGINT;
ALTER TABLE batch ADD COLUMN bare_greatest_ug BIGINT;

-- Numbers that no pour tells: one left out, as its piece broke (no pour), or one that is poured
-- again (the pour that it is taken from, which stays in the log, void).
CREATE TABLE number (
    batch TEXT NOT NULL,
    piece BIGINT NOT NULL,
    pour TEXT,
    asked_us BIGINT NOT NULL
);

CREATE INDEX number_by_batch ON number (batch);

-- Single values that a person set on the page and the program keeps.
CREATE TABLE kept (
    name TEXT NOT NULL PRIMARY KEY,
    value BIGINT NOT NULL
);
