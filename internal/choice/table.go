package choice

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/opening"
)

// How sure a verdict is.
const (
	Proven    = "proven"    // the mould was built and its opening proven
	Estimated = "estimated" // from the analysis of the part, without building the mould
	Tried     = "tried"     // opens by the estimate, but no sound mould came of building it; the last reason says why
)

// Row is one way to mould this part.
type Row struct {
	Rank int    `json:"rank"`
	Key  string `json:"key"`
	Name string `json:"name"`
	// Direction is the way that the upper piece leaves, or that a tray is filled from.
	Direction r3.Vec `json:"direction"`
	// Opens says whether the mould opens and gives the casting free; Basis how sure that is.
	Opens   bool     `json:"opens"`
	Basis   string   `json:"basis"`
	Verdict string   `json:"verdict"`
	Reasons []string `json:"reasons"`

	// FlashMM estimates the length of flash on a casting, ShowFlashMM that on show faces.
	FlashMM     float64 `json:"flash_mm"`
	ShowFlashMM float64 `json:"show_flash_mm"`

	Printed    []Amount `json:"printed"`
	Silicone   []Amount `json:"silicone,omitempty"`
	PrintML    float64  `json:"print_ml"`
	SiliconeML float64  `json:"silicone_ml"`
	ErrorPct   float64  `json:"volume_error_pct"` // of both volumes
	Pours      int      `json:"one_time_pours"`
	Stages     []string `json:"stages"`

	CycleH       float64 `json:"cycle_h"`       // from one shot of a mould to the next
	TypicalShots int     `json:"typical_shots"` // of one mould; typical, not measured
	Moulds       int     `json:"moulds"`        // to make the batch
	Shots        int     `json:"shots"`         // to make the batch, with typical scrap
	Cost         Cost    `json:"cost"`

	Release *opening.Release `json:"release,omitempty"`
}

// Amount is a piece and its volume.
type Amount struct {
	Name string  `json:"name"`
	ML   float64 `json:"ml"`
}

// Cost is that of the batch, in the currency of the prices.
type Cost struct {
	Prints   float64 `json:"prints"`
	Silicone float64 `json:"silicone"`
	Castings float64 `json:"castings"`
	Labour   float64 `json:"labour"`
	Total    float64 `json:"total"`
	PerPart  float64 `json:"per_part"`
	LabourH  float64 `json:"labour_h"`
	ErrorPct float64 `json:"error_pct"` // of the total, with the prices taken as exact
}

// Along is one opening direction and what two rigid halves would meet there.
type Along struct {
	Direction r3.Vec  `json:"direction"`
	Undercuts int     `json:"undercuts"`
	HeldMM2   float64 `json:"held_mm2"` // area of the undercuts
}

// Table compares the ways, best first.
type Table struct {
	// Directions are those that the ways were judged along, each way keeping its best.
	Directions []Along `json:"directions"`
	PartML     float64 `json:"part_ml"`
	Batch      int     `json:"batch"`
	Prices     Prices  `json:"prices"`
	Rows       []Row   `json:"rows"`
	// Best is the key of the first row; empty when no way opens.
	Best string `json:"best"`
	Why  string `json:"why"`
	// Change is the smallest change of the part found that makes a simpler way work.
	Change *Change `json:"change,omitempty"`
	// NoChange says why there is none, when it was looked for.
	NoChange string `json:"no_change,omitempty"`
}

// Row finds a row by its key.
func (t *Table) Row(key string) *Row { return rowOf(t.Rows, key) }

func rowOf(rows []Row, key string) *Row {
	for i := range rows {
		if rows[i].Key == key {
			return &rows[i]
		}
	}
	return nil
}

// Words says the whole comparison in plain lines.
func (t *Table) Words() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n", t.Why)
	if t.Change != nil {
		fmt.Fprintf(&b, "Smallest change: %s\n", t.Change.Words)
	} else if t.NoChange != "" {
		fmt.Fprintf(&b, "Smallest change: %s\n", t.NoChange)
	}
	for i := range t.Rows {
		r := &t.Rows[i]
		fmt.Fprintf(&b, "\n%d. %s: %s\n", r.Rank, r.Name, r.Verdict)
		for _, x := range r.Reasons {
			fmt.Fprintf(&b, "   - %s\n", x)
		}
		fmt.Fprintf(&b, "   %s\n", r.amountWords())
		fmt.Fprintf(&b, "   cycle %.1f h; about %d castings a mould (typical), so %s for the batch: %.0f %s ± %.0f %%, %.2f a part\n",
			r.CycleH, r.TypicalShots, count(r.Moulds, "mould"), r.Cost.Total, t.currency(), r.Cost.ErrorPct, r.Cost.PerPart)
	}
	if t.Prices.Typical {
		b.WriteString("\nPrices and times are partly typical values, not quotes.\n")
	}
	return b.String()
}

func (r *Row) amountWords() string {
	w := fmt.Sprintf("flash %.0f mm, %.0f mm of it on show faces; %s to print, %.0f mL", r.FlashMM, r.ShowFlashMM, count(len(r.Printed), "piece"), r.PrintML)
	if r.Pours > 0 {
		w += fmt.Sprintf("; silicone %.0f mL in %s", r.SiliconeML, count(r.Pours, "pour"))
	}
	return w + fmt.Sprintf(" (volumes ± %.0f %%)", r.ErrorPct)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func (t *Table) currency() string {
	if t.Prices.Currency != "" {
		return t.Prices.Currency
	}
	return "in your currency"
}
