package batch

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"mouldwright/internal/atomicfile"
)

// Report is all that is known of a planned batch, as plan.json holds it.
type Report struct {
	Format    int        `json:"format"`
	Plan      *Plan      `json:"plan"`
	Costs     *Costs     `json:"costs"`
	BreakEven []Cheapest `json:"break_even,omitempty"`
	Warnings  []string   `json:"warnings,omitempty"`
	Learned   []Learned  `json:"learned,omitempty"`
	Changes   *Changes   `json:"changes,omitempty"` // against the plan that was followed
}

// NewReport joins a plan with its costs, and with what it has otherwise than the plan that was followed; before
// is nil for a first plan.
func (b *Bench) NewReport(p *Plan, before *History) *Report {
	r := &Report{Format: Format, Plan: p, Costs: b.Costs(p), Warnings: b.Warnings, Learned: b.Learned}
	if before != nil {
		r.Changes = b.Compare(before.Followed, p)
	}
	if len(b.Ways) > 0 {
		r.BreakEven = b.BreakEven(b.chartMost())
	}
	return r
}

// PlanFile is the file that a re-plan reads; it is written last.
const PlanFile = "plan.json"

// WriteFiles writes the board, the day lists, the calendar, the chart and the report into a folder,
// each whole or not at all, and gives their paths.
func WriteFiles(folder string, b *Bench, r *Report) (paths []string, err error) {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return nil, fmt.Errorf("make the folder of results: %w", err)
	}
	files := []struct {
		name    string
		content func(io.Writer) error
	}{
		{"board.svg", func(w io.Writer) error { return b.WriteGantt(w, r.Plan) }},
		{"day-lists.pdf", func(w io.Writer) error { return b.WriteDayLists(w, r.Plan) }},
		{"calendar.ics", func(w io.Writer) error { return b.WriteCalendar(w, r.Plan) }},
		{"break-even.svg", b.WriteBreakEven},
		{"plan.txt", func(w io.Writer) error { return b.WriteText(w, r) }},
		{PlanFile, func(w io.Writer) error { return writeJSON(w, r) }},
	}
	for _, f := range files {
		if f.name == "break-even.svg" && len(b.Ways) == 0 {
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
