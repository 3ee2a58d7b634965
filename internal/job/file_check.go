package job

import (
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"mouldwright/internal/fill"
	"mouldwright/internal/mesh"
	"mouldwright/internal/tooling"
)

// check finds the first setting that cannot be meant. Each message says what would be right.
func (f *File) check() error {
	if f.Format != Format {
		if lineOf(f.src, "format") == 0 {
			return f.wrong("format", "the file does not say its format; begin it with the line: format = %d", Format)
		}
		return f.wrong("format", "this job has format %d; this program reads format %d", f.Format, Format)
	}
	for _, check := range []func() error{f.checkPart, f.checkShow, f.checkChoices, f.checkExtras, f.checkBallast} {
		if err := check(); err != nil {
			return err
		}
	}
	for _, r := range slices.Concat(f.ranges(), f.Block.ranges(), f.Compare.ranges(), f.Skin.ranges(), f.Tray.ranges(), f.Trim.ranges()) {
		if math.IsNaN(r.v) || r.v < r.lo || r.v > r.hi {
			return f.wrong(r.key, "%g is outside %g to %g %s", r.v, r.lo, r.hi, r.unit)
		}
	}
	return nil
}

func (f *File) checkPart() error {
	if f.Part.File == "" {
		return f.wrong("part.file", "name the part's file, such as file = \"part.stl\" under [part]")
	}
	if !filepath.IsLocal(f.Part.File) {
		return f.wrong("part.file", "%q does not lie inside the job folder; copy the file there and give its name alone", f.Part.File)
	}
	if f.Part.Unit != "" {
		if _, err := mesh.UnitNamed(f.Part.Unit); err != nil {
			return f.wrong("part.unit", "%w", err)
		}
	}
	return nil
}

// Check finds the first colour that is not written as "#rrggbb".
func (s ShowRules) Check() error {
	for _, c := range s.Colours {
		if !hexColour.MatchString(c) {
			return fmt.Errorf("%q is not a colour like \"#d04020\"", c)
		}
	}
	return nil
}

func (f *File) checkShow() error {
	if err := f.Show.Check(); err != nil {
		return f.wrong("show.colours", "%w", err)
	}
	for _, p := range f.Show.Picks {
		if len(p.At) != 3 || !finite(p.At...) {
			return f.wrong("show.pick", "at %v must be three numbers: a point on the part", p.At)
		}
		if !(p.GrowDeg >= 0 && p.GrowDeg <= 90) {
			return f.wrong("show.pick", "grow_deg %g is outside 0 to 90°", p.GrowDeg)
		}
	}
	for _, t := range f.Show.Towards {
		if !finite(t.Direction[:]...) || norm(t.Direction[:]) == 0 {
			return f.wrong("show.towards", "direction %v must be three numbers, not all 0, such as [0, 0, 1]", t.Direction)
		}
		if !(t.WithinDeg >= 0 && t.WithinDeg <= 180) {
			return f.wrong("show.towards", "within_deg %g is outside 0 to 180°", t.WithinDeg)
		}
	}
	for _, b := range f.Show.Boxes {
		if !finite(b.Min[:]...) || !finite(b.Max[:]...) || b.Min[0] > b.Max[0] || b.Min[1] > b.Max[1] || b.Min[2] > b.Max[2] {
			return f.wrong("show.box", "min %v must be below max %v in x, y and z", b.Min, b.Max)
		}
	}
	return nil
}

// papers are the sheets that drawings come on.
var papers = []string{"A4", "A3", "Letter"}

func (f *File) checkChoices() error {
	if d := f.Opening.Direction; badDirection(d) {
		return f.wrong("opening.direction", "%v must be three numbers, not all 0, such as [0, 0, 1]; leave it out to search", d)
	}
	for _, check := range []func(*File) error{f.SideSplit.check, f.Tray.check, f.Trim.check} {
		if err := check(f); err != nil {
			return err
		}
	}
	if n := len(f.Material.ShrinkPct); n != 0 && n != 1 && n != 3 {
		return f.wrong("material.shrink_pct", "give one value for all axes or three for x, y, z; found %d", n)
	}
	if n := len(f.Fill.MaxTiltDeg); n != 0 && n != 2 {
		return f.wrong("fill.max_tilt_deg", "give two angles, one for each side; found %d", n)
	}
	if p := f.Fill.PotKPa; p != 0 && !(p > fill.StandardAirKPa && p <= mostPotKPa) {
		return f.wrong("fill.pot_kpa", "%g kPa is not the absolute pressure of a pot: give 0 for none, or from 102 to %d (the gauge's reading and 101 for the air)", p, mostPotKPa)
	}
	if n := len(f.Printer.BuildMM); n != 0 && n != 3 {
		return f.wrong("printer.build_mm", "give three sizes x, y, z; found %d", n)
	}
	if fam := f.Mould.Family; fam != "" && fam != familyTwoHalves && findFamily(fam) == nil {
		return f.wrong("mould.family", "%q is not a way to mould; use one of %s", fam, familyNames())
	}
	if n := f.Mould.Cavities; n > 1 && f.Ballast.asked() {
		return f.wrong("mould.cavities", "balls are counted for one casting at a time, and %d cavities are asked for: take 1, or leave [ballast] out", n)
	}
	if b := f.Mould.Bolt; b != "" && b != tooling.NoBolts {
		if _, err := tooling.FindThread(b); err != nil {
			return f.wrong("mould.bolt", "%w, or \"none\"", err)
		}
	}
	if k := f.Mould.Keys; k != nil && (*k == 1 || *k == 2) {
		return f.wrong("mould.keys", "%d would leave the halves free to turn; use 0, or at least 3", *k)
	}
	if p := f.Drawing.Paper; p != "" && !slices.Contains(papers, p) {
		return f.wrong("drawing.paper", "%q is not a paper size; use one of %s", p, strings.Join(papers, ", "))
	}
	return nil
}

// checkExtras wants the densities without which filler and thinner cannot be weighed by volume.
func (f *File) checkExtras() error {
	if f.Filler.Pct > 0 && f.Filler.GPerML == 0 {
		return f.wrong("filler.pct", "%g %% of filler, but density_g_per_ml is not given: put in that of its grains, such as 2.7 for chalk", f.Filler.Pct)
	}
	if f.Thinner.Pct > 0 && f.Thinner.GPerML == 0 {
		return f.wrong("thinner.pct", "%g %% of thinner, but density_g_per_ml is not given: put in that of its label", f.Thinner.Pct)
	}
	if p := f.Bench.Printed; p != "" && p != "resin" && p != "filament" {
		return f.wrong("bench.printed", "%q is not known; use \"resin\" or \"filament\"", p)
	}
	return nil
}

func (f *File) checkBallast() error {
	b := f.Ballast
	if !b.asked() {
		return nil
	}
	if b.BallMM == 0 {
		return f.wrong("ballast.ball_mm", "give the balls' diameter in mm, such as ball_mm = 4")
	}
	if b.BallGPerML == 0 {
		return f.wrong("ballast.ball_g_per_ml", "give the balls' density in g/mL, such as ball_g_per_ml = 7.85 for steel")
	}
	if b.Packing != "" && b.Packing != "loose" && b.Packing != "dense" {
		return f.wrong("ballast.packing", "%q is not known; use \"loose\" (poured in) or \"dense\" (shaken down)", b.Packing)
	}
	n := 0
	for _, given := range []bool{b.File != "", b.Box != nil, b.SharePct > 0} {
		if given {
			n++
		}
	}
	if n != 1 {
		return f.wrong("ballast", "the balls need one chamber, and %d are given: name a mesh with file, a box with box = { min = […], max = […] }, or a share of the part's volume with share_pct", n)
	}
	if q := b.Box; q != nil && (!finite(q.Min[:]...) || !finite(q.Max[:]...) || q.Min[0] >= q.Max[0] || q.Min[1] >= q.Max[1] || q.Min[2] >= q.Max[2]) {
		return f.wrong("ballast.box", "min %v must be below max %v in x, y and z", q.Min, q.Max)
	}
	if d := b.Stands; badDirection(d) {
		return f.wrong("ballast.stands", "%v must be three numbers, not all 0, such as [0, 0, -1]: the way down when it stands", d)
	}
	return nil
}

// mostPotKPa is beyond any pot that a bench should hold; above it a number is more likely in the wrong unit.
const mostPotKPa = 1000

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
		{"opening.pull_n", f.Opening.PullN, 0, 5000, "N"},
		{"insert.thickness_mm", f.Insert.ThicknessMM, 0, 50, "mm"},
		{"insert.draft_deg", f.Insert.DraftDeg, 0, 30, "°"},
		{"insert.land_mm", f.Insert.LandMM, 0, 20, "mm"},
		{"insert.overflow_mm", f.Insert.OverflowMM, 0, 20, "mm"},
		{"mould.cavities", float64(f.Mould.Cavities), 0, tooling.MostCavities, "cavities"},
		{"mould.cavity_gap_mm", f.Mould.CavityGapMM, 0, 200, "mm"},
		{"mould.runner_mm", f.Mould.RunnerMM, 0, 30, "mm"},
		{"mould.wall_mm", f.Mould.WallMM, 0, 200, "mm"},
		{"mould.floor_mm", f.Mould.FloorMM, 0, 200, "mm"},
		{"mould.bolt_pitch_mm", f.Mould.BoltPitchMM, 0, 500, "mm"},
		{"mould.key_clearance_mm", f.Mould.KeyClearance, 0, 2, "mm"},
		{"mould.gutter_ml", f.Mould.GutterML, 0, 1000, "mL"},
		{"mould.gutter_land_mm", f.Mould.GutterLandMM, 0, 50, "mm"},
		{"mould.sprue_mm", f.Mould.SprueMM, 0, 50, "mm"},
		{"mould.vent_mm", f.Mould.VentMM, 0, 10, "mm"},
		{"mould.label_mm", f.Mould.LabelMM, 0, 50, "mm"},
		{"material.pigment_pct", f.Material.PigmentPct, 0, 20, "%"},
		{"shot.scale_step_g", f.Shot.ScaleStepG, 0, 100, "g"},
		{"filler.pct", f.Filler.Pct, 0, 95, "%"},
		{"filler.density_g_per_ml", f.Filler.GPerML, 0, 22, "g/mL"},
		{"filler.max_share_pct", f.Filler.MaxSharePct, 0, 95, "%"},
		{"thinner.pct", f.Thinner.Pct, 0, 30, "%"},
		{"thinner.density_g_per_ml", f.Thinner.GPerML, 0, 2, "g/mL"},
		{"ballast.ball_mm", f.Ballast.BallMM, 0, 100, "mm"},
		{"ballast.ball_g_per_ml", f.Ballast.BallGPerML, 0, 22, "g/mL"},
		{"ballast.share_pct", f.Ballast.SharePct, 0, 95, "%"},
		{"bench.shop_c", f.Bench.ShopC, 0, 50, "°C"},
		{"bench.cup_ml", f.Bench.CupML, 0, 1e5, "mL"},
		{"bench.fillings", float64(f.Bench.Fillings), 0, 10_000, "fillings"},
		{"bench.pour_s", f.Bench.PourS, 0, 1e5, "s"},
		{"bench.close_s", f.Bench.CloseS, 0, 1e5, "s"},
		{"printer.shrink_pct", f.Printer.ShrinkPct, -5, 10, "%"},
		{"printer.expansion_per_k", f.Printer.PerK, 0, 1e-3, "1/K"},
	}
	if k := f.Mould.Keys; k != nil {
		rs = append(rs, settingRange{"mould.keys", float64(*k), 0, 16, "keys"})
	}
	if v := f.Mould.Vents; v != nil {
		rs = append(rs, settingRange{"mould.vents", float64(*v), 0, 32, "vents"})
	}
	if h := f.Parting.HeightMM; h != nil {
		rs = append(rs, settingRange{"parting.height_mm", *h, -5000, 5000, "mm"})
	}
	if o := f.Shot.OverfillPct; o != nil {
		rs = append(rs, settingRange{"shot.overfill_pct", *o, 0, 100, "%"})
	}
	if c := f.Shot.CupResidueG; c != nil {
		rs = append(rs, settingRange{"shot.cup_residue_g", *c, 0, 1000, "g"})
	}
	if c := f.Bench.CureC; c != nil {
		rs = append(rs, settingRange{"bench.cure_c", *c, -10, 120, "°C"})
	}
	if e := f.Material.ErrorPct; e != nil {
		rs = append(rs, settingRange{"material.shrink_error_pct", *e, 0, 10, "%"})
	}
	if e := f.Printer.ErrorPct; e != nil {
		rs = append(rs, settingRange{"printer.shrink_error_pct", *e, 0, 10, "%"})
	}
	for _, d := range f.Fill.MaxTiltDeg {
		rs = append(rs, settingRange{"fill.max_tilt_deg", d, 0, 60, "°"})
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

// badDirection says that a direction is given that is none.
func badDirection(d []float64) bool {
	return len(d) != 0 && (len(d) != 3 || !finite(d...) || norm(d) == 0)
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
		k = strings.TrimSpace(k)
		// The setting in its table, as table.name, or within table = { … }.
		if found && (k == name && now == table || now == "" && (k == key || k == table)) {
			return i + 1
		}
	}
	return 0
}
