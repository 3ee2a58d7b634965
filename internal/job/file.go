package job

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// FileName is the name of the decisions file in a job folder.
const FileName = "job.toml"

// Format is the version of the file's layout that this program writes. Programs read their own and
// older formats; docs/job.md says what changed.
const Format = 1

// File holds the maker's decisions. Lengths are mm, angles degrees; zero numbers, empty strings and nil
// mean the default that the comments in a new job.toml state.
type File struct {
	path string // where it was read, and its text: for messages
	src  []byte

	Format    int           `toml:"format"`
	Part      PartFile      `toml:"part"`
	Show      ShowRules     `toml:"show"`
	Opening   OpeningRule   `toml:"opening"`
	Parting   PartingRule   `toml:"parting"`
	Material  MaterialRule  `toml:"material"`
	Mould     MouldRule     `toml:"mould"`
	Insert    InsertRule    `toml:"insert"`
	SideSplit SideSplitRule `toml:"side_split"`
	Block     BlockRule     `toml:"block"`
	Skin      SkinRule      `toml:"skin"`
	Tray      TrayRule      `toml:"tray"`
	Trim      TrimRule      `toml:"trim"`
	Printer   PrinterRule   `toml:"printer"`
	Shot      ShotRule      `toml:"shot"`
	Filler    FillerRule    `toml:"filler"`
	Thinner   ThinnerRule   `toml:"thinner"`
	Ballast   BallastRule   `toml:"ballast"`
	Bench     BenchRule     `toml:"bench"`
	Fill      FillRule      `toml:"fill"`
	Drawing   DrawingRule   `toml:"drawing"`
	Compare   CompareRule   `toml:"compare"`
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
	Picks   []Pick    `toml:"pick"`
	Towards []Towards `toml:"towards"`
	Boxes   []Box     `toml:"box"`
	Colours []string  `toml:"colours"`  // "#rrggbb" as the part file gives them
	GrowDeg float64   `toml:"grow_deg"` // of all but picks, which have their own
}

// Pick marks the facet at a point of the surface, grown over edges gentler than an angle.
type Pick struct {
	At      []float64 `toml:"at"` // three
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
	PullN       float64   `toml:"pull_n"` // most that is pulled by hand to get a soft casting off
}

// PartingRule steers the parting line.
type PartingRule struct {
	HeightMM *float64 `toml:"height_mm"`
}

// MaterialRule names the casting material.
type MaterialRule struct {
	ID         string    `toml:"id"`
	Library    string    `toml:"library"`    // a TOML file of the maker's own entries
	ShrinkPct  []float64 `toml:"shrink_pct"` // one value or three; empty: the material's
	ErrorPct   *float64  `toml:"shrink_error_pct"`
	PigmentPct float64   `toml:"pigment_pct"` // by mass of the component pigment_of
	PigmentOf  string    `toml:"pigment_of"`  // "" for all components
	Pigment    string    `toml:"pigment"`
}

// MouldRule sizes the mould.
type MouldRule struct {
	Family       string  `toml:"family"`
	Silicone     string  `toml:"silicone"`      // what its soft bodies are poured of
	Cavities     int     `toml:"cavities"`      // castings at once; 0 is 1
	CavityGapMM  float64 `toml:"cavity_gap_mm"` // between two of them
	RunnerMM     float64 `toml:"runner_mm"`     // section of the runner to them, as of a round one
	WallMM       float64 `toml:"wall_mm"`
	FloorMM      float64 `toml:"floor_mm"`
	Bolt         string  `toml:"bolt"` // "M5"; "none"
	BoltPitchMM  float64 `toml:"bolt_pitch_mm"`
	Keys         *int    `toml:"keys"` // 0 for none
	KeyClearance float64 `toml:"key_clearance_mm"`
	GutterML     float64 `toml:"gutter_ml"`
	GutterLandMM float64 `toml:"gutter_land_mm"`
	SprueMM      float64 `toml:"sprue_mm"`
	Vents        *int    `toml:"vents"` // 0 for none
	VentMM       float64 `toml:"vent_mm"`
	Label        string  `toml:"label"` // "" is the part's name
	LabelFont    string  `toml:"label_font"`
	LabelMM      float64 `toml:"label_mm"`
}

// InsertRule sizes the silicone insert of the family "insert"; other families leave it unused.
type InsertRule struct {
	ThicknessMM float64 `toml:"thickness_mm"`
	DraftDeg    float64 `toml:"draft_deg"` // of its outer face against the cradle
	LandMM      float64 `toml:"land_mm"`   // from the cavity to the overflow in the casting cap
	OverflowMM  float64 `toml:"overflow_mm"`
}

// PrinterRule is the build volume that each piece must fit, and how true to size prints come out.
type PrinterRule struct {
	BuildMM   []float64 `toml:"build_mm"`
	ShrinkPct float64   `toml:"shrink_pct"` // of a finished print against its drawing
	ErrorPct  *float64  `toml:"shrink_error_pct"`
	PerK      float64   `toml:"expansion_per_k"` // linear, of the print
}

// ShotRule sets what is mixed for one filling.
type ShotRule struct {
	OverfillPct *float64 `toml:"overfill_pct"`
	CupResidueG *float64 `toml:"cup_residue_g"`
	ScaleStepG  float64  `toml:"scale_step_g"`
}

// FillerRule is a powder or fibre in the mix; a percentage of 0 is none.
type FillerRule struct {
	Name        string  `toml:"name"`
	Pct         float64 `toml:"pct"`              // by mass of the whole mix
	GPerML      float64 `toml:"density_g_per_ml"` // of the grains
	MaxSharePct float64 `toml:"max_share_pct"`    // of the volume, at which it flows no more
}

// ThinnerRule is a thinner in the mix; a percentage of 0 is none.
type ThinnerRule struct {
	Name   string  `toml:"name"`
	Pct    float64 `toml:"pct"` // by mass of the components
	GPerML float64 `toml:"density_g_per_ml"`
}

// BallastRule fills a chamber of the casting with balls. The chamber is one of a file, a box, or a share.
type BallastRule struct {
	BallMM     float64   `toml:"ball_mm"`
	BallGPerML float64   `toml:"ball_g_per_ml"`
	Packing    string    `toml:"packing"` // "loose" (default) or "dense"
	File       string    `toml:"file"`    // a mesh of the chamber, in the part's coordinates
	Box        *Box      `toml:"box"`     // holds the chamber, in the part's coordinates
	SharePct   float64   `toml:"share_pct"`
	Stands     []float64 `toml:"stands"`   // the way down of the part as it stands in use
	Backfill   string    `toml:"backfill"` // material that fills the gaps; "" is the casting's
}

// asked says whether the job has ballast.
func (b BallastRule) asked() bool {
	return b.BallMM != 0 || b.BallGPerML != 0 || b.File != "" || b.Box != nil || b.SharePct != 0
}

// BenchRule describes the bench at which the job is poured. The steps and the shop sheet start from it.
type BenchRule struct {
	ShopC    float64  `toml:"shop_c"`
	CureC    *float64 `toml:"cure_c"` // nil: the shop's
	CupML    float64  `toml:"cup_ml"` // 0: the smallest that does
	Fillings int      `toml:"fillings"`
	Vacuum   bool     `toml:"vacuum"`
	PourS    float64  `toml:"pour_s"`
	CloseS   float64  `toml:"close_s"`
	Printed  string   `toml:"printed"` // "resin" (default) or "filament"
}

// FillRule sets how the mould is poured.
type FillRule struct {
	MaxTiltDeg []float64 `toml:"max_tilt_deg"` // about the mould's two sides; 0 keeps that one level
	PotKPa     float64   `toml:"pot_kpa"`      // absolute; 0: no pressure pot
}

// limits are those of the tilt search, where 0 asks for the default and a negative angle for level.
func (r FillRule) limits() (x, y float64) {
	if len(r.MaxTiltDeg) != 2 {
		return 0, 0
	}
	level := func(deg float64) float64 {
		if deg == 0 {
			return -1
		}
		return deg
	}
	return level(r.MaxTiltDeg[0]), level(r.MaxTiltDeg[1])
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
	Err      error // what it was made from; may be nil
}

func (e *FileError) Unwrap() error { return e.Err }

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

// wrong is the error of a setting; key names it, as in mould.wall_mm.
func (f *File) wrong(key, format string, args ...any) error {
	err := fmt.Errorf(format, args...)
	e := &FileError{Path: f.path, Line: lineOf(f.src, key), Key: key, Words: err.Error(), Err: errors.Unwrap(err)}
	if e.Line > 0 {
		e.At = 1
	}
	return e
}

// mostFileBytes bounds job.toml: a hundred times what one with every comment takes.
const mostFileBytes = 1 << 20

// Load reads and checks a folder's decisions.
func Load(folder string) (*File, error) {
	path := filepath.Join(folder, FileName)
	b, err := readSmall(path, mostFileBytes)
	if errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("%s: no %s here; make a job with: mouldwright new FOLDER PART: %w", folder, FileName, err)
	}
	if err != nil {
		return nil, fmt.Errorf("read the job: %w", err)
	}
	return Parse(path, b)
}

// readSmall reads a plain file of at most so many bytes. A pipe or a device would never end.
func readSmall(path string, most int64) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a plain file", path)
	}
	if info.Size() > most {
		return nil, fmt.Errorf("%s has %d bytes, more than the %d that such a file may have", path, info.Size(), most)
	}
	return os.ReadFile(path)
}

// inside is the path of a file that a setting names. It must lie in the job folder, also after symbolic
// links are followed: a job folder is whole in itself, and one from somebody else reads nothing of the
// maker's.
func (f *File) inside(folder, key, name string) (string, error) {
	if !filepath.IsLocal(name) {
		return "", f.wrong(key, "%q does not lie inside the job folder; copy the file there and give its name alone", name)
	}
	path := filepath.Join(folder, name)
	real, err := filepath.EvalSymlinks(path)
	if err == nil {
		var top string
		if top, err = filepath.EvalSymlinks(folder); err == nil {
			rel, relErr := filepath.Rel(top, real)
			if relErr != nil || !filepath.IsLocal(rel) {
				return "", f.wrong(key, "%q is a link that leads out of the job folder, to %s; copy the file itself there", name, real)
			}
		}
	}
	if errors.Is(err, os.ErrNotExist) {
		return "", &missing{f.wrong(key, "there is no file %q in the job folder; copy it there or correct the name", name)}
	}
	if err != nil {
		return "", f.wrong(key, "%w", err)
	}
	return path, nil
}

// missing is os.ErrNotExist beneath words that say it better.
type missing struct{ error }

func (m *missing) Unwrap() []error { return []error{m.error, os.ErrNotExist} }

// Parse reads decisions from b; path is for messages.
func Parse(path string, b []byte) (*File, error) {
	f := &File{path: path, src: b}
	if err := toml.NewDecoder(bytes.NewReader(b)).DisallowUnknownFields().Decode(f); err != nil {
		return nil, parseError(path, err)
	}
	if err := f.check(); err != nil {
		return nil, err
	}
	return f, nil
}

func parseError(path string, err error) error {
	var unknown *toml.StrictMissingError
	if errors.As(err, &unknown) && len(unknown.Errors) > 0 {
		e := unknown.Errors[0]
		line, at := e.Position()
		return &FileError{Path: path, Line: line, At: at, Key: strings.Join(e.Key(), "."), Words: "this setting does not exist; docs/job.md and the comments in a new job.toml list those that do"}
	}
	var bad *toml.DecodeError
	if errors.As(err, &bad) {
		line, at := bad.Position()
		return &FileError{Path: path, Line: line, At: at, Key: strings.Join(bad.Key(), "."), Words: plainTOML(bad.Error()), Err: err}
	}
	return &FileError{Path: path, Words: plainTOML(err.Error()), Err: err}
}

// mistyped matches what the TOML library says of a value of the wrong type, in terms of Go.
var mistyped = regexp.MustCompile(`cannot decode TOML (\w+) into .* of type (\S+)$`)

// kinds are types as a maker would name them.
var kinds = map[string]string{"string": "a text in quotes", "integer": "a whole number", "int": "a whole number", "*int": "a whole number",
	"float": "a number with a point", "float64": "a number", "*float64": "a number", "array": "a list in [ ]", "[]float64": "a list of numbers",
	"[3]float64": "a list of three numbers", "[]string": "a list of texts in quotes", "boolean": "true or false", "inline table": "a table in { }", "table": "a table"}

// plainTOML turns the library's words on a wrong type into the maker's.
func plainTOML(words string) string {
	words = strings.TrimPrefix(words, "toml: ")
	m := mistyped.FindStringSubmatch(words)
	if m == nil {
		return words
	}
	found, want := kinds[m[1]], kinds[m[2]]
	if found == "" {
		found = "a " + m[1]
	}
	if want == "" {
		want = "a table of settings"
	}
	return fmt.Sprintf("%s stands here, where %s belongs", found, want)
}
