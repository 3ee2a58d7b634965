-- One schema for SQLite and PostgreSQL: only types and clauses that both take. Times are text in UTC
-- of one fixed width, so that text order is time order; seq is the event that added the row.

-- +goose Up
CREATE TABLE events (
    seq      BIGINT PRIMARY KEY,
    at       TEXT NOT NULL,
    operator TEXT NOT NULL CHECK (operator <> ''),
    action   TEXT NOT NULL CHECK (action IN ('add', 'correct')),
    kind     TEXT NOT NULL,
    id       TEXT NOT NULL,
    rev      BIGINT NOT NULL,
    reason   TEXT NOT NULL,
    body     TEXT NOT NULL,
    prev     TEXT NOT NULL,
    hash     TEXT NOT NULL,
    UNIQUE (kind, id, rev),
    CHECK (action = 'add' OR reason <> '')
);

CREATE TABLE counters (
    kind TEXT PRIMARY KEY,
    last BIGINT NOT NULL
);

CREATE TABLE requests (
    key TEXT PRIMARY KEY,
    seq BIGINT NOT NULL
);

CREATE TABLE moulds (
    id             TEXT PRIMARY KEY,
    rev            BIGINT NOT NULL,
    seq            BIGINT NOT NULL,
    name           TEXT NOT NULL,
    job            TEXT NOT NULL,
    version        TEXT NOT NULL,
    family         TEXT NOT NULL,
    made_on        TEXT NOT NULL,
    expected_shots BIGINT NOT NULL,
    retired_on     TEXT NOT NULL,
    notes          TEXT NOT NULL
);

CREATE TABLE lots (
    id            TEXT PRIMARY KEY,
    rev           BIGINT NOT NULL,
    seq           BIGINT NOT NULL,
    material      TEXT NOT NULL,
    component     TEXT NOT NULL,
    maker_lot     TEXT NOT NULL,
    expires_on    TEXT NOT NULL,
    opened_on     TEXT NOT NULL,
    days_open_max BIGINT NOT NULL,
    notes         TEXT NOT NULL
);

CREATE TABLE mixes (
    id            TEXT PRIMARY KEY,
    rev           BIGINT NOT NULL,
    seq           BIGINT NOT NULL,
    job           TEXT NOT NULL,
    material      TEXT NOT NULL,
    mixed_at      TEXT NOT NULL,
    temperature_c DOUBLE PRECISION,
    humidity_pct  DOUBLE PRECISION,
    pot_life_s    DOUBLE PRECISION,
    tolerance_pct DOUBLE PRECISION NOT NULL,
    operator      TEXT NOT NULL,
    deviation     TEXT NOT NULL,
    notes         TEXT NOT NULL
);

CREATE TABLE mix_parts (
    parent    TEXT NOT NULL REFERENCES mixes (id),
    line      BIGINT NOT NULL,
    component TEXT NOT NULL,
    lot       TEXT NOT NULL REFERENCES lots (id),
    asked_g   DOUBLE PRECISION NOT NULL CHECK (asked_g > 0),
    weighed_g DOUBLE PRECISION NOT NULL CHECK (weighed_g > 0),
    PRIMARY KEY (parent, line)
);

CREATE TABLE runs (
    id         TEXT PRIMARY KEY,
    rev        BIGINT NOT NULL,
    seq        BIGINT NOT NULL,
    job        TEXT NOT NULL,
    mould      TEXT NOT NULL,
    started_at TEXT NOT NULL,
    operator   TEXT NOT NULL,
    notes      TEXT NOT NULL
);

CREATE TABLE run_steps (
    parent TEXT NOT NULL REFERENCES runs (id),
    line   BIGINT NOT NULL,
    step   TEXT NOT NULL,
    title  TEXT NOT NULL,
    hard   BIGINT NOT NULL,
    PRIMARY KEY (parent, line),
    UNIQUE (parent, step)
);

CREATE TABLE sign_offs (
    id        TEXT PRIMARY KEY,
    rev       BIGINT NOT NULL,
    seq       BIGINT NOT NULL,
    run       TEXT NOT NULL REFERENCES runs (id),
    step      TEXT NOT NULL,
    operator  TEXT NOT NULL CHECK (operator <> ''),
    signed_at TEXT NOT NULL,
    value     DOUBLE PRECISION,
    unit      TEXT NOT NULL,
    skipped   BIGINT NOT NULL,
    reason    TEXT NOT NULL,
    UNIQUE (run, step),
    FOREIGN KEY (run, step) REFERENCES run_steps (parent, step),
    CHECK (skipped = 0 OR reason <> '')
);

CREATE TABLE shots (
    id           TEXT PRIMARY KEY,
    rev          BIGINT NOT NULL,
    seq          BIGINT NOT NULL,
    mould        TEXT NOT NULL REFERENCES moulds (id),
    mix          TEXT REFERENCES mixes (id),
    run          TEXT REFERENCES runs (id),
    cavity       BIGINT NOT NULL,
    poured_at    TEXT NOT NULL,
    closed_at    TEXT NOT NULL,
    demoulded_at TEXT NOT NULL,
    pot_kpa      DOUBLE PRECISION,
    tilt_deg     DOUBLE PRECISION,
    cure_c       DOUBLE PRECISION,
    outcome      TEXT NOT NULL,
    casting_g    DOUBLE PRECISION,
    predicted_g  DOUBLE PRECISION,
    operator     TEXT NOT NULL,
    notes        TEXT NOT NULL
);
CREATE INDEX shots_of_mould ON shots (mould);

CREATE TABLE shot_defects (
    parent TEXT NOT NULL REFERENCES shots (id),
    line   BIGINT NOT NULL,
    code   TEXT NOT NULL,
    place  TEXT NOT NULL,
    PRIMARY KEY (parent, line)
);

CREATE TABLE photos (
    id         TEXT PRIMARY KEY,
    rev        BIGINT NOT NULL,
    seq        BIGINT NOT NULL,
    shot       TEXT NOT NULL REFERENCES shots (id),
    sha256     TEXT NOT NULL,
    bytes      BIGINT NOT NULL,
    media_type TEXT NOT NULL,
    caption    TEXT NOT NULL
);

-- +goose Down
DROP TABLE photos;
DROP TABLE shot_defects;
DROP TABLE shots;
DROP TABLE sign_offs;
DROP TABLE run_steps;
DROP TABLE runs;
DROP TABLE mix_parts;
DROP TABLE mixes;
DROP TABLE lots;
DROP TABLE moulds;
DROP TABLE requests;
DROP TABLE counters;
DROP TABLE events;
