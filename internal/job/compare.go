package job

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"

	"mouldwright/internal/choice"
	"mouldwright/internal/material"
	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

// CompareOptions are those of a comparison, not of the job.
type CompareOptions struct {
	Workers  int // 0 means one a processor; results do not depend on it
	Progress func(stage string, done float64)
	Pool     *solid.Pool // nil: one of its own
	// Builds says how many ways are built and proven: by default in rank order until the best is.
	Builds Builds
	// NoChange leaves out the search for the smallest change of the part.
	NoChange bool
}

// Builds says which ways a comparison builds.
type Builds int

// From the quickest to the surest.
const (
	BuildBest Builds = iota // in rank order until the best way is proven
	BuildNone               // every verdict is an estimate
	BuildAll                // each way that opens by the estimate, where there is a builder
)

// Comparison ranks the ways to mould a job's part. It writes nothing.
type Comparison struct {
	Part     PartReport
	Warnings []string
	*choice.Table
	carried bool // round a carrier
}

// Family is the way's name in job.toml; "" where nothing builds it for this job.
func (c *Comparison) Family(way string) string { return familyOf(way, c.carried) }

func familyOf(way string, carried bool) string {
	name := wayFamilies[way]
	if carried && name != familyTray || name != familyTwoHalves && findFamily(name) == nil {
		return "" // no other builder holds a carrier
	}
	return name
}

// wayFamilies gives for each way of package choice the family of job.toml that builds it.
var wayFamilies = map[string]string{
	"open-tray":        familyTray,
	"two-rigid-halves": familyTwoHalves,
	"side-split":       "side-split",
	"cradle-insert":    "insert",
	"cut-block":        "cut-block",
	"two-part-block":   "silicone-block",
	"skin-shell":       "skin",
}

// Compare ranks the ways to mould a job's part with the sizes, materials and prices that job.toml gives,
// whatever family it names, and proves the best by building it as Run would.
func Compare(ctx context.Context, folder string, opt CompareOptions) (*Comparison, error) {
	f, err := Load(folder)
	if err != nil {
		return nil, err
	}
	m, err := findMaterial(folder, f)
	if err != nil {
		return nil, err
	}
	silicone, err := findSilicone(folder, f)
	if err != nil {
		return nil, err
	}
	if opt.Pool == nil {
		opt.Pool = solid.NewPool(solid.Options{})
		defer opt.Pool.Close()
	}
	run := RunOptions{Workers: opt.Workers, Progress: opt.Progress, Pool: opt.Pool}
	p, err := readPart(ctx, folder, f, run.stage("looking the part over", 0, partShare))
	if err != nil {
		return nil, err
	}
	c := &comparing{folder: folder, file: f, part: p, material: m, silicone: silicone, opt: run}
	reading := c.along("", r3.Vec{})
	if c.carrier, err = reading.readCarrier(ctx); err != nil {
		return nil, err
	}
	t, err := choice.Compare(ctx, p.mesh, p.show, c.options(opt))
	if errors.Is(err, choice.ErrOptions) {
		return nil, f.wrong("compare", "%w", err)
	}
	if err != nil {
		return nil, err
	}
	return &Comparison{Part: p.report, Warnings: append(p.warnings, reading.report.Warnings...), Table: t, carried: c.carrier != nil}, nil
}

// partShare is the share of a comparison's progress that looking the part over takes.
const partShare = 0.05

// comparing compares the ways for one job.
type comparing struct {
	folder             string
	file               *File
	part               *part
	material, silicone *material.Material
	carrier            *mesh.Mesh // nil for none
	opt                RunOptions
	at                 float64 // progress when the builder now at work began
}

func (c *comparing) options(opt CompareOptions) choice.Options {
	f := c.file
	o := choice.Options{Direction: f.asked(), ToleranceMM: f.Opening.ToleranceMM, Batch: f.Compare.Batch, Casting: f.flexOf(c.material), Silicone: f.flexOf(c.silicone), Carrier: c.carrier, WallMM: f.Mould.WallMM,
		FloorMM: f.Mould.FloorMM, InsertMM: f.Insert.ThicknessMM, Prices: f.Compare.prices(), Workers: c.opt.Workers, ProveAll: opt.Builds == BuildAll,
		NoChange: opt.NoChange,
		Progress: c.tell}
	if t, err := c.material.DemouldAt(orElse(f.Bench.CureC, cmp.Or(f.Bench.ShopC, DefaultShopC))); err == nil {
		o.DemouldH = t.Seconds / 3600
	}
	if opt.Builds == BuildNone {
		return o
	}
	o.Provers = map[string]choice.Prover{}
	for way := range wayFamilies {
		switch name := familyOf(way, c.carrier != nil); name {
		case "":
		case familyTwoHalves:
			o.Provers[way] = c.prover(name, c.twoHalves)
		default:
			o.Provers[way] = c.prover(name, c.set)
		}
	}
	return o
}

func (c *comparing) tell(stage string, done float64) {
	c.at = partShare + (1-partShare)*done
	c.opt.stage(stage, c.at, 1)(0)
}

// builderShare is the share of the progress that each builder may fill.
const builderShare = 0.06

// along is the job for a family, with an opening direction: the one it asks for, or else d.
func (c *comparing) along(family string, d r3.Vec) *trying {
	f := *c.file
	f.Mould.Family = family
	if f.asked() == (r3.Vec{}) && d != (r3.Vec{}) {
		f.Opening.Direction = []float64{d.X, d.Y, d.Z}
	}
	opt, from := c.opt, c.at
	opt.Progress = func(stage string, done float64) { c.opt.stage(stage, from, from+builderShare)(done) }
	return &trying{folder: c.folder, part: c.part, file: &f, material: c.material, poured: c.material, report: &Report{}, opt: opt}
}

// directions are those that a builder is tried with: the one that the estimate stands on and, unless the
// job asks for one, its own choice.
func (c *comparing) directions(d r3.Vec) []r3.Vec {
	if c.file.asked() != (r3.Vec{}) {
		return []r3.Vec{d}
	}
	return []r3.Vec{d, {}}
}

// prover builds a mould of a family as a run does. build says what was built, or "" with the reasons kept.
func (c *comparing) prover(family string, build func(context.Context, *trying) (words string, err error)) choice.Prover {
	return func(ctx context.Context, _ *mesh.Mesh, _ []bool, d r3.Vec) (string, bool, error) {
		why := ""
		for _, d := range c.directions(d) {
			s := c.along(family, d)
			words, err := build(ctx, s)
			if err != nil {
				return "", false, err
			}
			if words != "" {
				return words, true, nil
			}
			why = cmp.Or(why, failedReasons(s.reasons))
		}
		return why, false, nil
	}
}

func (c *comparing) twoHalves(ctx context.Context, s *trying) (words string, err error) {
	m, err := s.mould(ctx)
	if m == nil || err != nil {
		return "", err
	}
	return builtWords(len(m.Checks), s.used.d), nil
}

func (c *comparing) set(ctx context.Context, s *trying) (words string, err error) {
	set, err := s.buildSet(ctx, findFamily(s.file.Mould.Family), c.silicone)
	if set == nil || err != nil {
		return "", err
	}
	return builtWords(len(set.Checks), set.Place.Frame.Z), nil
}

func builtWords(checks int, d r3.Vec) string {
	return fmt.Sprintf("built along %s: all %d checks on the mould hold", directionName(array(d)), checks)
}

func failedReasons(why []Reason) string {
	if len(why) == 0 {
		return "the builder gave no reason"
	}
	w := why[0].What + ": " + strings.TrimPrefix(why[0].Words, why[0].What+": ")
	if len(why) > 1 {
		w += fmt.Sprintf(" (and %s more)", plural(len(why)-1, "failed check"))
	}
	return w
}
