package job

import (
	"encoding/json"

	"mouldwright/internal/choice"
)

// wayJSON is a row as --json prints it: places are arrays, as everywhere, and the family is named as
// job.toml names it.
type wayJSON struct {
	choice.Row
	Family    string     `json:"family,omitempty"` // none: nothing builds it for this job
	Direction [3]float64 `json:"direction"`
	Release   *struct{}  `json:"release,omitempty"` // left out: the reasons say it
}

type alongJSON struct {
	choice.Along
	Direction [3]float64 `json:"direction"`
}

type changeJSON struct {
	*choice.Change
	Places []changedJSON `json:"places"`
}

type changedJSON struct {
	AtMM  [3]float64 `json:"at_mm"`
	Walls string     `json:"walls"`
}

// ComparisonFormat is the version of the JSON layout of a Comparison.
const ComparisonFormat = 1

// MarshalJSON implements json.Marshaler.
func (c *Comparison) MarshalJSON() ([]byte, error) {
	out := struct {
		Format     int           `json:"format"`
		Part       PartReport    `json:"part"`
		Best       string        `json:"best"` // key of the first way; empty when none opens
		Why        string        `json:"why"`
		Batch      int           `json:"batch"`
		Prices     choice.Prices `json:"prices"`
		Directions []alongJSON   `json:"directions"`
		Ways       []wayJSON     `json:"ways"`
		Change     *changeJSON   `json:"change,omitempty"`
		NoChange   string        `json:"no_change,omitempty"`
		Warnings   []string      `json:"warnings,omitempty"`
	}{Format: ComparisonFormat, Part: c.Part, Best: c.Best, Why: c.Why, Batch: c.Batch, Prices: c.Prices, NoChange: c.NoChange, Warnings: c.Warnings}
	for _, a := range c.Directions {
		out.Directions = append(out.Directions, alongJSON{a, array(a.Direction)})
	}
	for _, r := range c.Rows {
		w := wayJSON{Row: r, Family: c.Family(r.Key), Direction: array(r.Direction)}
		if w.Reasons == nil {
			w.Reasons = []string{}
		}
		out.Ways = append(out.Ways, w)
	}
	if c.Change != nil {
		out.Change = &changeJSON{Change: c.Change, Places: []changedJSON{}}
		for _, p := range c.Change.Places {
			out.Change.Places = append(out.Change.Places, changedJSON{array(p.At), p.Walls})
		}
	}
	return json.Marshal(out)
}
