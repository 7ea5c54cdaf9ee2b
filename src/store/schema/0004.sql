-- Fourth step of the log. Never edited once merged: a change is a new step.

-- How late each scale shows, with its standard uncertainty and from how many steps of its pan; how it
-- smooths, where that was measured on purpose (else only learned as pieces land and leave).
CREATE TABLE lag (
    scale TEXT NOT NULL PRIMARY KEY,
    lag_us BIGINT NOT NULL,
    u_us BIGINT NOT NULL,
    steps BIGINT NOT NULL,
    way TEXT
);
