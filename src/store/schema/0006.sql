-- Sixth step of the log. Never edited once merged: a change is a new step.

-- How fast a hand pours, and how it finishes with a trickle (not known of older ones): flow, its scatter as a share of
-- it, and from how many pours; the time at a trickle's end. How a batch is finished; none: as the settings say.
ALTER TABLE hand ADD COLUMN pace_ug_s BIGINT;
ALTER TABLE hand ADD COLUMN pace_cv_ppm BIGINT;
ALTER TABLE hand ADD COLUMN pace_pours BIGINT;
ALTER TABLE hand ADD COLUMN trickle_us BIGINT;
ALTER TABLE hand ADD COLUMN trickle_ug_s BIGINT;
ALTER TABLE hand ADD COLUMN trickle_cv_ppm BIGINT;
ALTER TABLE hand ADD COLUMN trickle_pours BIGINT;
ALTER TABLE batch ADD COLUMN finish TEXT;
-- When the bucket was measured that the grams come from; NULL: as the batch was made, or typed in.
ALTER TABLE batch ADD COLUMN measured_us BIGINT;
