-- Third step of the log. Never edited once merged: a change is a new step.

-- Beside which lag of the scale a hand was learned (not known of older ones), how its stops scatter,
-- what share of its flow it keeps after the warning, and from how many pours that was learned.
ALTER TABLE hand ADD COLUMN lag_us BIGINT;
ALTER TABLE hand ADD COLUMN scatter_us BIGINT;
ALTER TABLE hand ADD COLUMN ease_kept_ppm BIGINT NOT NULL DEFAULT 1000000;
ALTER TABLE hand ADD COLUMN ease_pours BIGINT NOT NULL DEFAULT 0;
