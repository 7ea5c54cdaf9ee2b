-- Fifth step of the log. Never edited once merged: a change is a new step.

-- A target of its own for each piece in turn, with its limits: three numbers of micrograms each, apart by blanks.
ALTER TABLE batch ADD COLUMN ladder_ug TEXT NOT NULL DEFAULT '';
