-- Ninth step of the log. Never edited once merged: a change is a new step.

-- Whether the ware was fired already, so that what was poured in is not its coat. Of older batches their request tells,
-- which is kept without blanks between its words; "state" stands nowhere else in it.
ALTER TABLE batch ADD COLUMN fired BOOLEAN NOT NULL DEFAULT FALSE;
UPDATE batch SET fired = TRUE WHERE request LIKE '%"state":"fired"%';

-- All that a comparison reads stands in this, so that it reads nothing else.
DROP INDEX batch_compared;
CREATE INDEX batch_compared ON batch (created_us, glaze_name, form, fired, pourer, target_ug, n, good, guided, off_mg, off_squares_mg2);
