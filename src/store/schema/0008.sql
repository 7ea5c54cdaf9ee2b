-- Eighth step of the log. Never edited once merged: a change is a new step.

-- A piece may have a label; its inside is known by words.
ALTER TABLE pour ADD COLUMN label TEXT;
ALTER TABLE batch ADD COLUMN form TEXT;

-- Kept with a batch, of the newest revisions: how many are good, short and void, how many stops were called, what the
-- pieces were off their own targets (whole milligrams, each at most a kilogram) with its squares, first and last start.
ALTER TABLE batch ADD COLUMN good BIGINT NOT NULL DEFAULT 0;
ALTER TABLE batch ADD COLUMN short BIGINT NOT NULL DEFAULT 0;
ALTER TABLE batch ADD COLUMN voids BIGINT NOT NULL DEFAULT 0;
ALTER TABLE batch ADD COLUMN guided BIGINT NOT NULL DEFAULT 0;
ALTER TABLE batch ADD COLUMN off_mg BIGINT NOT NULL DEFAULT 0;
ALTER TABLE batch ADD COLUMN off_squares_mg2 BIGINT NOT NULL DEFAULT 0;
ALTER TABLE batch ADD COLUMN first_us BIGINT;
ALTER TABLE batch ADD COLUMN last_us BIGINT;

CREATE VIEW newest_pour AS
    SELECT p.*, CASE WHEN p.net_ug - p.target_ug > 1000000000 THEN 1000000
                     WHEN p.net_ug - p.target_ug < -1000000000 THEN -1000000
                     ELSE (p.net_ug - p.target_ug) / 1000 END AS off_each_mg
    FROM pour p WHERE p.rev > 0 AND p.rev = (SELECT MAX(q.rev) FROM pour q WHERE q.id = p.id);

UPDATE batch SET
    good = (SELECT COUNT(*) FROM newest_pour p WHERE p.batch = batch.id AND p.verdict = 'good' AND p.net_ug IS NOT NULL),
    short = (SELECT COUNT(*) FROM newest_pour p WHERE p.batch = batch.id AND p.verdict = 'short' AND p.net_ug IS NOT NULL),
    voids = (SELECT COUNT(*) FROM newest_pour p WHERE p.batch = batch.id AND p.verdict = 'void'),
    guided = (SELECT COUNT(*) FROM newest_pour p WHERE p.batch = batch.id AND p.verdict <> 'void' AND p.net_ug IS NOT NULL AND p.guided),
    off_mg = (SELECT COALESCE(SUM(p.off_each_mg), 0) FROM newest_pour p WHERE p.batch = batch.id AND p.verdict <> 'void' AND p.net_ug IS NOT NULL),
    off_squares_mg2 = (SELECT COALESCE(SUM(p.off_each_mg * p.off_each_mg), 0) FROM newest_pour p WHERE p.batch = batch.id AND p.verdict <> 'void' AND p.net_ug IS NOT NULL),
    first_us = (SELECT MIN(p.started_us) FROM newest_pour p WHERE p.batch = batch.id),
    last_us = (SELECT MAX(p.started_us) FROM newest_pour p WHERE p.batch = batch.id);

DROP VIEW newest_pour;

-- All that a comparison reads stands in the first of these, so that it reads nothing else.
CREATE INDEX batch_compared ON batch (created_us, glaze_name, form, pourer, target_ug, n, good, guided, off_mg, off_squares_mg2);
CREATE INDEX batch_found ON batch (last_us);
CREATE INDEX batch_by_glaze ON batch (glaze_name);
CREATE INDEX pour_by_label ON pour (label, batch) WHERE label IS NOT NULL;
