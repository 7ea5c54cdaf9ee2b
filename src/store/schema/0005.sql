-- Fifth step of the log. Never edited once merged: a change is a new step.

-- A target of its own for each piece in turn, with its limits: three numbers of micrograms each, apart by blanks.
ALTER TABLE batch ADD COLUMN ladder_ug TEXT NOT NULL DEFAULT '';

-- The potter's own glazes, forms and coats: every version stays, the newest holds. What it is stands as JSON text;
-- NULL: it was taken off the shelf with this version.
CREATE TABLE shelf (
    shelf TEXT NOT NULL,
    name TEXT NOT NULL,
    version BIGINT NOT NULL,
    body TEXT,
    note TEXT NOT NULL,
    made_us BIGINT NOT NULL,
    PRIMARY KEY (shelf, name, version)
);

-- Which version of its glaze the target was reckoned from.
ALTER TABLE batch ADD COLUMN bucket BIGINT;
ALTER TABLE pour ADD COLUMN bucket BIGINT;
