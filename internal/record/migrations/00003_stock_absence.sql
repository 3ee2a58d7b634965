-- A lot knows how much it held and when it was emptied; a person may be away.

-- +goose Up
ALTER TABLE lots ADD COLUMN net_g DOUBLE PRECISION NOT NULL DEFAULT 0;
ALTER TABLE lots ADD COLUMN emptied_on TEXT NOT NULL DEFAULT '';
CREATE TABLE absences (
    id         TEXT PRIMARY KEY,
    rev        BIGINT NOT NULL,
    seq        BIGINT NOT NULL,
    operator   TEXT NOT NULL CHECK (operator <> ''),
    from_day   TEXT NOT NULL,
    until_day  TEXT NOT NULL,
    reason     TEXT NOT NULL
);
