package job

import (
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"strings"
)

// check finds the first setting that cannot be meant. Each message says what would be right.
func (f *File) check(path string, src []byte) error {
	at := func(key, format string, args ...any) error {
		line := lineOf(src, key)
		col := 0
		if line > 0 {
			col = 1
		}
		return &FileError{Path: path, Line: line, At: col, Key: key, Words: fmt.Sprintf(format, args...)}
	}
	if f.Format != Format {
		return at("format", "this job has format %d; this program reads format %d", f.Format, Format)
	}
	if f.Part.File == "" {
		return at("part.file", "name the part's file")
	}
	if filepath.IsAbs(f.Part.File) || !filepath.IsLocal(f.Part.File) {
		return at("part.file", "%q must lie inside the job folder", f.Part.File)
	}
	if f.Part.Unit != "" {
		if _, err := unitNamed(f.Part.Unit); err != nil {
			return at("part.unit", "%v", err)
		}
	}
	for _, c := range f.Show.Colours {
		if !hexColour.MatchString(c) {
			return at("show.colours", "%q is not a colour like \"#d04020\"", c)
		}
	}
	for _, t := range f.Show.Towards {
		if !finite(t.Direction[:]...) || norm(t.Direction[:]) == 0 {
			return at("show.towards", "direction %v has no length", t.Direction)
		}
		if t.WithinDeg < 0 || t.WithinDeg > 180 {
			return at("show.towards", "within_deg %g is outside 0 to 180°", t.WithinDeg)
		}
	}
	if d := f.Opening.Direction; len(d) != 0 && (len(d) != 3 || !finite(d...) || norm(d) == 0) {
		return at("opening.direction", "%v must be three numbers, not all 0, such as [0, 0, 1]; leave it out to search", d)
	}
	if n := len(f.Material.ShrinkPct); n != 0 && n != 1 && n != 3 {
		return at("material.shrink_pct", "give one value for all axes or three for x, y, z; found %d", n)
	}
	if n := len(f.Printer.BuildMM); n != 0 && n != 3 {
		return at("printer.build_mm", "give three sizes x, y, z; found %d", n)
	}
	if fam := f.Mould.Family; fam != "" && fam != "two-halves" {
		return at("mould.family", "%q is not a family this version builds; it builds \"two-halves\"", fam)
	}
	if p := f.Drawing.Paper; p != "" && p != "A4" && p != "A3" && p != "Letter" {
		return at("drawing.paper", "%q is not a paper size; use \"A4\", \"A3\" or \"Letter\"", p)
	}
	for _, r := range f.ranges() {
		if math.IsNaN(r.v) || r.v < r.lo || r.v > r.hi {
			return at(r.key, "%g is outside %g to %g %s", r.v, r.lo, r.hi, r.unit)
		}
	}
	return nil
}

type settingRange struct {
	key    string
	v      float64
	lo, hi float64
	unit   string
}

// ranges are the plain numbers with the span that makes sense; 0 always means the default.
func (f *File) ranges() []settingRange {
	rs := []settingRange{
		{"show.grow_deg", f.Show.GrowDeg, 0, 90, "°"},
		{"opening.min_draft_deg", f.Opening.MinDraftDeg, 0, 30, "°"},
		{"opening.tolerance_mm", f.Opening.ToleranceMM, 0, 1, "mm"},
		{"mould.wall_mm", f.Mould.WallMM, 0, 200, "mm"},
		{"mould.floor_mm", f.Mould.FloorMM, 0, 200, "mm"},
		{"mould.bolt_pitch_mm", f.Mould.BoltPitchMM, 0, 500, "mm"},
		{"mould.keys", float64(f.Mould.Keys), 0, 16, "keys"},
		{"mould.key_clearance_mm", f.Mould.KeyClearance, 0, 2, "mm"},
		{"mould.gutter_ml", f.Mould.GutterML, 0, 1000, "mL"},
		{"mould.gutter_land_mm", f.Mould.GutterLandMM, 0, 50, "mm"},
		{"mould.sprue_mm", f.Mould.SprueMM, 0, 50, "mm"},
		{"mould.vents", float64(f.Mould.Vents), 0, 32, "vents"},
		{"mould.vent_mm", f.Mould.VentMM, 0, 10, "mm"},
		{"mould.label_mm", f.Mould.LabelMM, 0, 50, "mm"},
		{"material.pigment_pct", f.Material.PigmentPct, 0, 20, "%"},
		{"shot.overfill_pct", f.Shot.OverfillPct, 0, 100, "%"},
		{"shot.cup_residue_g", f.Shot.CupResidueG, 0, 1000, "g"},
		{"shot.scale_step_g", f.Shot.ScaleStepG, 0, 100, "g"},
	}
	for _, s := range f.Material.ShrinkPct {
		rs = append(rs, settingRange{"material.shrink_pct", s, -5, 20, "%"})
	}
	for _, s := range f.Printer.BuildMM {
		rs = append(rs, settingRange{"printer.build_mm", s, 1, 5000, "mm"})
	}
	return rs
}

var hexColour = regexp.MustCompile(`^#[0-9a-fA-F]{6}$`)

func finite(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

func norm(xs []float64) float64 {
	s := 0.0
	for _, x := range xs {
		s += x * x
	}
	return math.Sqrt(s)
}

// lineOf finds the line on which a setting such as mould.wall_mm stands, 0 if it is not written out.
func lineOf(src []byte, key string) int {
	table, name, ok := strings.Cut(key, ".")
	if !ok {
		table, name = "", key
	}
	now := ""
	for i, line := range strings.Split(string(src), "\n") {
		s := strings.TrimSpace(line)
		if strings.HasPrefix(s, "[") {
			now = strings.Trim(strings.SplitN(s, "#", 2)[0], "[] \t")
			if now == key {
				return i + 1
			}
			continue
		}
		k, _, found := strings.Cut(s, "=")
		if found && strings.TrimSpace(k) == name && now == table {
			return i + 1
		}
	}
	return 0
}
