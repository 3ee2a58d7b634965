package batch

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"mouldwright/internal/atomicfile"
)

// Report is all that is known of a planned batch, as plan.json holds it.
type Report struct {
	Format    int        `json:"format"`
	Plan      *Plan      `json:"plan"`
	Costs     *Costs     `json:"costs"`
	BreakEven []Cheapest `json:"break_even,omitempty"`
	Warnings  []string   `json:"warnings,omitempty"`
	Stock     *StockUse  `json:"stock,omitempty"`
	Helps     []Help     `json:"helps,omitempty"` // what would help most, the best first
	Quote     *Quote     `json:"quote,omitempty"`
	Learned   []Learned  `json:"learned,omitempty"`
	Changes   *Changes   `json:"changes,omitempty"` // against the plan that was followed
}

// NewReport joins a plan with its costs, what would help most, the quote where the file asks for one, and what
// the plan has otherwise than the one that was followed; before is nil for a first plan.
func (b *Bench) NewReport(ctx context.Context, p *Plan, before *History) (*Report, error) {
	r := &Report{Format: Format, Plan: p, Costs: b.Costs(p), Warnings: b.Warnings, Learned: b.Learned, Stock: b.UseStock(p)}
	if before != nil {
		r.Changes = b.Compare(before.Followed, p)
	}
	if len(b.Ways) > 0 {
		r.BreakEven = b.BreakEven(b.chartMost())
	}
	var err error
	if r.Helps, err = b.WhatHelps(ctx, p, r.Costs, before); err != nil {
		return nil, fmt.Errorf("find what would help most: %w", err)
	}
	if len(b.Quoting.From) > 0 {
		if r.Quote, err = b.MakeQuote(ctx, p, r.Costs); err != nil {
			return nil, fmt.Errorf("work out the quote: %w", err)
		}
	}
	return r, nil
}

// PlanFile is the file that a re-plan reads; it is written last.
const PlanFile = "plan.json"

// resultFile is one file of a folder of results.
type resultFile struct {
	name    string
	content func(io.Writer) error
}

// WriteFiles writes the board, the day lists, the calendar, the chart and the report into a folder,
// each whole or not at all, and gives their paths.
func WriteFiles(folder string, b *Bench, r *Report) (paths []string, err error) {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return nil, fmt.Errorf("make the folder of results: %w", err)
	}
	files := []resultFile{
		{"board.svg", func(w io.Writer) error { return b.WriteGantt(w, r.Plan) }},
		{"day-lists.pdf", func(w io.Writer) error { return b.WriteDayLists(w, r.Plan) }},
		{"calendar.ics", func(w io.Writer) error { return b.WriteCalendar(w, r.Plan) }},
		{"break-even.svg", b.WriteBreakEven},
		{"quote.pdf", func(w io.Writer) error { return b.WriteQuote(w, r.Quote) }},
		{"quote.xlsx", func(w io.Writer) error { return b.WriteQuoteXLSX(w, r.Quote, r.Costs) }},
		{"plan.txt", func(w io.Writer) error { return b.WriteText(w, r) }},
		{PlanFile, func(w io.Writer) error { return writeJSON(w, r) }},
	}
	for k := range b.Staff { // numbered: a name need not be one of a file
		name := b.Staff[k].Name
		files = slices.Insert(files, len(files)-1, resultFile{fmt.Sprintf("calendar-%d.ics", k+1), func(w io.Writer) error { return b.WriteCalendarOf(w, r.Plan, name) }})
	}
	for _, f := range files {
		if f.name == "break-even.svg" && len(b.Ways) == 0 || strings.HasPrefix(f.name, "quote.") && r.Quote == nil {
			continue
		}
		path := filepath.Join(folder, f.name)
		if err := atomicfile.Write(path, f.content); err != nil {
			return paths, fmt.Errorf("write %s: %w", f.name, err)
		}
		paths = append(paths, path)
	}
	return paths, nil
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// ReadReport reads plan.json back.
func ReadReport(path string) (*Report, error) {
	src, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read the plan: %w", err)
	}
	r := &Report{}
	if err := json.Unmarshal(src, r); err != nil {
		return nil, fmt.Errorf("%s: this is no plan that the program wrote: %w", path, err)
	}
	if r.Format != Format || r.Plan == nil {
		return nil, fmt.Errorf("%s: the plan has format %d; this program reads format %d", path, r.Format, Format)
	}
	return r, nil
}
