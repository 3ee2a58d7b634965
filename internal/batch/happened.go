package batch

import (
	"errors"
	"fmt"
	"os"
	"time"
)

// HappenedFile is the name of the file of what happened, beside batch.toml.
const HappenedFile = "happened.toml"

type happenedFile struct {
	Format  int      `toml:"format"`
	Now     string   `toml:"now"`
	Spoiled []string `toml:"spoiled_loads"`
	Steps   []struct {
		ID    string `toml:"id"`
		Start string `toml:"start"`
		Scrap bool   `toml:"scrap"`
	} `toml:"step"`
}

const momentLayout = "2006-01-02 15:04"

// LoadHistory reads what happened of a plan. No file is no history, and gives nil.
func LoadHistory(path string, b *Bench, p *Plan) (*History, error) {
	src, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read what happened: %w", err)
	}
	f := &happenedFile{}
	if err := decode(path, src, f); err != nil {
		return nil, err
	}
	r := &reader{path: path, src: src}
	if f.Format != Format {
		r.fail("", 0, "format", "this file has format %d; this program reads format %d", f.Format, Format)
	}
	if p.Start != b.Start.Format(dateLayout) {
		r.fail("", 0, "now", "the plan that was followed starts %s, the batch now starts %s; keep the start to re-plan", p.Start, b.Start.Format(dateLayout))
	}
	moment := func(table string, n int, key, text string) int64 {
		t, err := time.Parse(momentLayout, text)
		if err != nil {
			r.fail(table, n, key, "%q is not a moment like \"2026-03-02 09:15\"", text)
		}
		return int64(t.Sub(b.Start).Seconds())
	}
	h := &History{NowS: moment("", 0, "now", f.Now), Plan: p, Followed: p}
	known, loads := map[string]bool{}, map[string]bool{}
	for _, s := range p.Steps {
		known[s.ID], loads[s.Load] = true, true
	}
	for _, l := range f.Spoiled {
		if !loads[l] {
			r.fail("", 0, "spoiled_loads", "the plan has no load %q", l)
		}
	}
	h.Spoiled = f.Spoiled
	seen := map[string]bool{}
	for n, s := range f.Steps {
		if !known[s.ID] {
			r.fail("step", n, "id", "the plan has no step %q; take ids from its %s", s.ID, PlanFile)
		}
		if seen[s.ID] {
			r.fail("step", n, "id", "%q is there twice", s.ID)
		}
		seen[s.ID] = true
		at := moment("step", n, "start", s.Start)
		if at < 0 || at > h.NowS {
			r.fail("step", n, "start", "%s is outside the time from the plan's start to now, %s", s.Start, f.Now)
		}
		h.Steps = append(h.Steps, Happened{s.ID, at, s.Scrap})
	}
	return h, r.err
}
