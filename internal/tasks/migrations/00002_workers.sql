-- +goose Up
CREATE TABLE task_workers (
    worker  TEXT PRIMARY KEY,
    version TEXT NOT NULL,          -- of the program that it is
    seen    DOUBLE PRECISION NOT NULL
);
