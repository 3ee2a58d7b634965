package job

import (
	"mouldwright/internal/material"
	"mouldwright/internal/tooling"
)

// Report is the outcome of a run, as report.json and --json give it. Fields may be added in later
// versions; those here keep their meaning. Lengths are mm in the part's own coordinates unless a field
// says mould frame.
type Report struct {
	Format  int      `json:"format"`
	Refused bool     `json:"refused"`
	Reasons []Reason `json:"reasons,omitempty"` // why, when refused

	Part       PartReport        `json:"part"`
	Directions []DirectionReport `json:"directions"` // those tried, in order
	Mould      *MouldReport      `json:"mould,omitempty"`
	Shot       *material.Shot    `json:"shot,omitempty"`
	Pours      []PourReport      `json:"pours,omitempty"` // of the mould's silicone bodies, before the first casting, in order
	Shrink     *ShrinkReport     `json:"shrinkage,omitempty"`
	Bench      *BenchReport      `json:"bench,omitempty"`
	Ballast    *BallastReport    `json:"ballast,omitempty"`
	Fill       *FillReport       `json:"fill,omitempty"`
	Trim       *TrimReport       `json:"trim_jig,omitempty"`
	Files      []string          `json:"files,omitempty"` // under out/
	Warnings   []string          `json:"warnings,omitempty"`
}

// ReportFormat is the version of Report's layout.
const ReportFormat = 1

// Reason is one cause of a refusal.
type Reason struct {
	What   string      `json:"what"`
	Words  string      `json:"words"`
	At     *[3]float64 `json:"at_mm,omitempty"`
	Facets []int32     `json:"facets,omitempty"` // of the part file, from 0; the first few
	Of     int         `json:"facets_in_all,omitempty"`
	Remedy string      `json:"remedy,omitempty"`
}

// PartReport measures the part.
type PartReport struct {
	Name      string     `json:"name"`
	File      string     `json:"file"`
	Object    string     `json:"object,omitempty"`
	Unit      string     `json:"unit"` // of the file's numbers: "mm", "inch", …
	Facets    int        `json:"facets"`
	SizeMM    [3]float64 `json:"size_mm"`
	VolumeMM3 float64    `json:"volume_mm3"`
	AreaMM2   float64    `json:"area_mm2"`
	ShowMM2   float64    `json:"show_area_mm2"`
	ShowCount int        `json:"show_facets"`
}

// DirectionReport says how one opening direction was judged.
type DirectionReport struct {
	Direction       [3]float64       `json:"direction"`
	Asked           bool             `json:"asked"`           // given in job.toml
	Score           *float64         `json:"score,omitempty"` // of the search; less is better
	OK              bool             `json:"ok"`              // it opens, and a sound mould came of it
	Used            bool             `json:"used"`            // the mould is built along it
	Words           string           `json:"words"`
	MinDraftDeg     float64          `json:"min_draft_deg"`
	HeightMM        float64          `json:"height_mm"`
	ShadowMM2       float64          `json:"projected_area_mm2"`
	UndercutAreaMM2 float64          `json:"undercut_area_mm2"`
	TrappedMM3      float64          `json:"trapped_mm3"`
	Undercuts       []UndercutReport `json:"undercuts,omitempty"`
	ToleranceMM     float64          `json:"tolerance_mm"`
	FlatSplit       string           `json:"flat_split,omitempty"` // what a plain split would do, when it locks
}

// UndercutReport is one place where the part holds the mould.
type UndercutReport struct {
	AreaMM2      float64    `json:"area_mm2"`
	VolumeMM3    float64    `json:"volume_mm3"`
	DepthMM      *float64   `json:"depth_mm"` // null for a sealed hollow
	DepthErrorMM float64    `json:"depth_error_mm"`
	Sealed       bool       `json:"sealed"`
	Holds        string     `json:"holds"`
	AtMM         [3]float64 `json:"at_mm"`  // a place on its surface
	LowMM        [3]float64 `json:"low_mm"` // the box around its surface
	HighMM       [3]float64 `json:"high_mm"`
	Facets       []int32    `json:"facets"`
	FacetCount   int        `json:"facet_count"`
}

// MouldReport describes the mould. Places and sizes are in the mould frame.
type MouldReport struct {
	Family       string          `json:"family"`
	Cavities     int             `json:"cavities"` // castings at once
	BlockMM      [3]float64      `json:"block_mm"`
	Scale        [3]float64      `json:"scale"` // of the cavity against the part, per axis of the part
	LineMM       float64         `json:"parting_line_mm"`
	LineLoops    int             `json:"parting_loops"`
	LineOnShowMM float64         `json:"parting_line_on_show_mm"`
	SurfaceFlat  bool            `json:"parting_surface_flat"`
	SteepestDeg  float64         `json:"parting_surface_steepest_deg"`
	Pieces       []PieceReport   `json:"pieces"`
	Features     []FeatureReport `json:"features"`
	Ledger       []LedgerReport  `json:"ledger"`
	Checks       []CheckReport   `json:"checks"`
	Opening      string          `json:"opening"`
	Stages       []string        `json:"stages,omitempty"` // of moulds with silicone or side pieces: what parts from what, and how
}

// Castings is how many castings one filling gives: 1 where the report does not say, as in those of before
// moulds had several cavities.
func (r *MouldReport) Castings() int { return max(1, r.Cavities) }

// CavityMM3 is what one cavity holds; 0 when the ledger has none.
func (r *MouldReport) CavityMM3() float64 {
	name := tooling.CavityName(1, r.Castings())
	for _, l := range r.Ledger {
		if l.Name == name {
			return l.VolumeMM3
		}
	}
	return 0
}

// PieceReport is one piece of the mould.
type PieceReport struct {
	Name      string     `json:"name"`
	Facets    int        `json:"facets"`
	VolumeMM3 float64    `json:"volume_mm3"`
	SizeMM    [3]float64 `json:"size_mm"`
	Exit      [3]float64 `json:"exit"`
	Poured    bool       `json:"poured"` // of silicone; else printed
}

// PourReport is the pour of one silicone body of the mould.
type PourReport struct {
	Piece string         `json:"piece"`
	In    []string       `json:"in"`   // the pieces that enclose it, in the order in which they come apart
	ML    float64        `json:"ml"`   // port and vents included, without surplus
	File  string         `json:"file"` // of the pieces as they then stand, under out/
	Shot  *material.Shot `json:"shot"`
}

// FeatureReport is one feature of the mould.
type FeatureReport struct {
	Name  string     `json:"name"`
	Kind  string     `json:"kind"`
	Piece string     `json:"piece"`
	AtMM  [3]float64 `json:"at_mm"`
	Words string     `json:"words"`
}

// LedgerReport is one share of the block.
type LedgerReport struct {
	Name      string  `json:"name"`
	VolumeMM3 float64 `json:"volume_mm3"`
	Solid     bool    `json:"solid"`
}

// CheckReport is one check on the finished mould. Limit is what Value was held against.
type CheckReport struct {
	Name  string   `json:"name"`
	OK    bool     `json:"ok"`
	Value *float64 `json:"value"` // null when there is nothing to measure
	Limit float64  `json:"limit"`
	Unit  string   `json:"unit"`
	Words string   `json:"words"`
}

// Refusal is the error of a part that cannot be moulded as asked. Report holds the whole judgement.
type Refusal struct{ Report *Report }

// Refused makes the commands end with the exit code of a refusal.
func (r *Refusal) Refused() bool { return true }

func (r *Refusal) Error() string {
	s := "the part cannot be moulded as asked"
	for _, q := range r.Report.Reasons {
		s += "\n  " + q.What + ": " + q.Words
		if q.Remedy != "" {
			s += "\n    " + q.Remedy
		}
	}
	return s
}
