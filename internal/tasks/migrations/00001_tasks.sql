-- One schema for SQLite and PostgreSQL: only types and clauses that both take. Times are seconds since
-- 1970 by the database's clock.

-- +goose Up
CREATE TABLE tasks (
    id      TEXT PRIMARY KEY,
    space   TEXT NOT NULL,             -- whose task it is
    job     TEXT NOT NULL,
    kind    TEXT NOT NULL,
    params  TEXT NOT NULL,
    version TEXT NOT NULL,             -- of the program that may do it: another gives other bytes
    input   TEXT NOT NULL,             -- digests of files, '' for none
    result  TEXT NOT NULL,
    state   TEXT NOT NULL CHECK (state IN ('waiting', 'running', 'collecting', 'done', 'refused', 'stopped', 'failed')),
    outcome TEXT NOT NULL,             -- what collecting ends in
    stage   TEXT NOT NULL,
    share   DOUBLE PRECISION NOT NULL,
    error   TEXT NOT NULL,
    ticket  BIGINT NOT NULL,           -- the one River job that may begin it
    run     BIGINT NOT NULL,           -- counts beginnings: only the last may write
    lost    BIGINT NOT NULL,           -- workers that died over it
    cancel  BIGINT NOT NULL,           -- 1: its owner wants it stopped
    worker  TEXT NOT NULL,
    created DOUBLE PRECISION NOT NULL,
    queued  DOUBLE PRECISION NOT NULL,
    lease   DOUBLE PRECISION NOT NULL, -- until when the worker has it
    started DOUBLE PRECISION NOT NULL,
    ended   DOUBLE PRECISION NOT NULL
);

CREATE UNIQUE INDEX tasks_open ON tasks (space, job) WHERE state IN ('waiting', 'running', 'collecting');
CREATE INDEX tasks_state ON tasks (state);
CREATE INDEX tasks_space ON tasks (space, created);

CREATE TABLE task_files (
    digest TEXT PRIMARY KEY,
    bytes  BIGINT NOT NULL,
    used   DOUBLE PRECISION NOT NULL
);

CREATE TABLE task_chunks (
    digest TEXT NOT NULL REFERENCES task_files (digest) ON DELETE CASCADE,
    n      BIGINT NOT NULL,
    body   BYTEA NOT NULL,
    PRIMARY KEY (digest, n)
);
