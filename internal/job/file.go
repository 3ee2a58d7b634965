package job

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// FileName is the name of the decisions file in a job folder.
const FileName = "job.toml"

// Format is the version of the file's layout that this program writes. Programs read their own and
// older formats; docs/job.md says what changed.
const Format = 1

// File holds the maker's decisions. Lengths are mm, angles degrees; zero numbers and empty strings
// mean the default that the comments in a new job.toml state.
type File struct {
	Format   int          `toml:"format"`
	Part     PartFile     `toml:"part"`
	Show     ShowRules    `toml:"show"`
	Opening  OpeningRule  `toml:"opening"`
	Parting  PartingRule  `toml:"parting"`
	Material MaterialRule `toml:"material"`
	Mould    MouldRule    `toml:"mould"`
	Printer  PrinterRule  `toml:"printer"`
	Shot     ShotRule     `toml:"shot"`
	Drawing  DrawingRule  `toml:"drawing"`
}

// PartFile names the part.
type PartFile struct {
	Name   string `toml:"name"`
	File   string `toml:"file"`
	Unit   string `toml:"unit"`   // "" is the file's own, or mm where the format has none
	Object string `toml:"object"` // "" when the file holds one
}

// ShowRules mark show faces: facets that match any rule, grown over smooth edges.
type ShowRules struct {
	Towards []Towards `toml:"towards"`
	Boxes   []Box     `toml:"box"`
	Colours []string  `toml:"colours"` // "#rrggbb" as the part file gives them
	GrowDeg float64   `toml:"grow_deg"`
}

// Towards marks the facets whose normal lies within an angle of a direction.
type Towards struct {
	Direction [3]float64 `toml:"direction"`
	WithinDeg float64    `toml:"within_deg"`
}

// Box marks the facets that lie wholly inside.
type Box struct {
	Min [3]float64 `toml:"min"`
	Max [3]float64 `toml:"max"`
}

// OpeningRule chooses the way the mould opens.
type OpeningRule struct {
	Direction   []float64 `toml:"direction"` // empty: search
	MinDraftDeg float64   `toml:"min_draft_deg"`
	ToleranceMM float64   `toml:"tolerance_mm"`
}

// PartingRule steers the parting line.
type PartingRule struct {
	HeightMM *float64 `toml:"height_mm"`
}

// MaterialRule names the casting material.
type MaterialRule struct {
	ID         string    `toml:"id"`
	Library    string    `toml:"library"`     // a TOML file of the maker's own entries
	ShrinkPct  []float64 `toml:"shrink_pct"`  // one value or three; empty: the material's
	PigmentPct float64   `toml:"pigment_pct"` // of all components
	Pigment    string    `toml:"pigment"`
}

// MouldRule sizes the mould.
type MouldRule struct {
	Family       string  `toml:"family"`
	WallMM       float64 `toml:"wall_mm"`
	FloorMM      float64 `toml:"floor_mm"`
	Bolt         string  `toml:"bolt"` // "M5"; "none"
	BoltPitchMM  float64 `toml:"bolt_pitch_mm"`
	Keys         int     `toml:"keys"`
	KeyClearance float64 `toml:"key_clearance_mm"`
	GutterML     float64 `toml:"gutter_ml"`
	GutterLandMM float64 `toml:"gutter_land_mm"`
	SprueMM      float64 `toml:"sprue_mm"`
	Vents        int     `toml:"vents"`
	VentMM       float64 `toml:"vent_mm"`
	Label        string  `toml:"label"` // "" is the part's name
	LabelFont    string  `toml:"label_font"`
	LabelMM      float64 `toml:"label_mm"`
}

// PrinterRule is the build volume that each piece must fit.
type PrinterRule struct {
	BuildMM []float64 `toml:"build_mm"`
}

// ShotRule sets what is mixed for one filling.
type ShotRule struct {
	OverfillPct float64 `toml:"overfill_pct"`
	CupResidueG float64 `toml:"cup_residue_g"`
	ScaleStepG  float64 `toml:"scale_step_g"`
}

// DrawingRule sets the drawings.
type DrawingRule struct {
	Paper string `toml:"paper"` // "A4" (default), "A3", "Letter"
}

// FileError points at the place in job.toml that is wrong.
type FileError struct {
	Path     string
	Line, At int // from 1; 0 when the whole file is meant
	Key      string
	Words    string
}

func (e *FileError) Error() string {
	where := e.Path
	if e.Line > 0 {
		where = fmt.Sprintf("%s:%d:%d", e.Path, e.Line, e.At)
	}
	if e.Key != "" {
		return fmt.Sprintf("%s: %s: %s", where, e.Key, e.Words)
	}
	return where + ": " + e.Words
}

// Load reads and checks a folder's decisions.
func Load(folder string) (*File, error) {
	path := filepath.Join(folder, FileName)
	b, err := os.ReadFile(path)
	if err != nil {
		if errors.Is(err, os.ErrNotExist) {
			return nil, fmt.Errorf("%s: no %s here; make a job with: mouldwright new FOLDER PART: %w", folder, FileName, err)
		}
		return nil, fmt.Errorf("read the job: %w", err)
	}
	return Parse(path, b)
}

// Parse reads decisions from b; path is for messages.
func Parse(path string, b []byte) (*File, error) {
	f := &File{}
	if err := toml.NewDecoder(bytes.NewReader(b)).DisallowUnknownFields().Decode(f); err != nil {
		return nil, parseError(path, err)
	}
	if err := f.check(path, b); err != nil {
		return nil, err
	}
	return f, nil
}

func parseError(path string, err error) error {
	var unknown *toml.StrictMissingError
	if errors.As(err, &unknown) && len(unknown.Errors) > 0 {
		e := unknown.Errors[0]
		line, at := e.Position()
		return &FileError{Path: path, Line: line, At: at, Key: strings.Join(e.Key(), "."), Words: "this setting does not exist; see the comments in a new job.toml for those that do"}
	}
	var bad *toml.DecodeError
	if errors.As(err, &bad) {
		line, at := bad.Position()
		return &FileError{Path: path, Line: line, At: at, Key: strings.Join(bad.Key(), "."), Words: strings.TrimPrefix(bad.Error(), "toml: ")}
	}
	return &FileError{Path: path, Words: err.Error()}
}
