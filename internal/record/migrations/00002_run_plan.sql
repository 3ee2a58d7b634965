-- A run keeps the plan that it began with, so that its words stay as they were when the job changes.

-- +goose Up
ALTER TABLE runs ADD COLUMN plan TEXT NOT NULL DEFAULT '';
