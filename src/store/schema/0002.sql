-- Second step of the log. Never edited once merged: a change is a new step.

-- What is to be known of a pour besides its numbers: words apart by blanks.
ALTER TABLE pour ADD COLUMN marks TEXT NOT NULL DEFAULT '';
