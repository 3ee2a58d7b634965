package batch

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"

	"mouldwright/internal/job"
)

// driftPct is how far a written value may be from its job's before it is named: more than rounding and
// the last drop in a cup (common practice, no source).
const driftPct = 5

func drifts(written, of float64) bool { return math.Abs(written-of) > driftPct/100.0*math.Abs(of) }

func (r *reader) warn(format string, args ...any) {
	r.warnings = append(r.warnings, fmt.Sprintf(format, args...))
}

// toolJob reads the results of the job that tool n names, and fills in what the file leaves out.
func (r *reader) toolJob(n int) {
	t := &r.f.Tools[n]
	r.jobs = append(r.jobs, nil)
	if t.Job == "" || r.err != nil {
		return
	}
	rep := r.results(n, t.Job)
	if rep == nil {
		return
	}
	r.jobs[n] = rep
	if t.Cost == 0 {
		r.mouldCost(n, t.Job, rep)
	}
	has := rep.Mould.Castings()
	if t.Cavities == 0 {
		t.Cavities = has
	}
	switch block := standing(rep); {
	case t.Cavities != has && len(t.BoxMM) == 0:
		r.fail("tool", n, "box_mm", "the job's mould has %s, this one %d: write its size", cavityWords(has), t.Cavities)
	case len(t.BoxMM) == 0:
		t.BoxMM = block[:]
	case len(t.BoxMM) == 3 && boxDrifts(t.BoxMM, block):
		r.warn("tool %q: box_mm is %.4g × %.4g × %.4g mm, its job's mould %.4g × %.4g × %.4g mm; the written size is used",
			t.Name, t.BoxMM[0], t.BoxMM[1], t.BoxMM[2], block[0], block[1], block[2])
	}
	if t.Cavities != has {
		r.warn("tool %q: %d cavities are written, its job's mould has %s; the written number is used", t.Name, t.Cavities, cavityWords(has))
	}
}

// standing is the room that a closed mould takes as it is poured, mm: its block, and where a wedge props it what
// the tilt adds at most, whichever way it leans.
func standing(rep *job.Report) [3]float64 {
	box := rep.Mould.BlockMM
	if rep.Fill == nil || rep.Fill.Wedge == nil {
		return box
	}
	sin := math.Sin(rep.Fill.Wedge.TiltDeg * math.Pi / 180)
	return [3]float64{box[0] + box[2]*sin, box[1] + box[2]*sin, box[2] + max(box[0], box[1])*sin + slices.Max(rep.Fill.Wedge.HeightsMM[:])}
}

// MouldCost is what a mould of a job costs to make: what is really printed and poured for it, by the volumes of
// its finished pieces, and the hands on it.
type MouldCost struct {
	PrintML    float64 `json:"print_ml"`
	SiliconeML float64 `json:"silicone_ml"`
	Pieces     int     `json:"printed_pieces"`
	Pours      int     `json:"silicone_pours"`
	Print      float64 `json:"print"`
	Silicone   float64 `json:"silicone"`
	Labour     float64 `json:"labour"`
	Typical    bool    `json:"typical_prices"` // at least one price is a typical value, not the maker's
}

// Total is all of it.
func (c *MouldCost) Total() float64 { return c.Print + c.Silicone + c.Labour }

const mm3PerML = 1000

// CostOfMould works a job's mould out at the job's prices.
func CostOfMould(rep *job.Report, rule job.CompareRule) MouldCost {
	p := rule.Typical()
	c := MouldCost{Typical: p.Typical, Pours: len(rep.Pours)}
	for _, piece := range rep.Mould.Pieces {
		if !piece.Poured {
			c.Pieces++
			c.PrintML += piece.VolumeMM3 / mm3PerML
		}
	}
	for _, pour := range rep.Pours {
		c.SiliconeML += pour.ML
	}
	c.Print, c.Silicone = c.PrintML*p.PrintPerML, c.SiliconeML*p.SiliconePerML
	c.Labour = (float64(c.Pieces)*p.PieceMin + float64(c.Pours)*p.PourMin) / 60 * p.LabourPerH
	return c
}

// mouldCost gives a tool the cost of its job's mould where none is written.
func (r *reader) mouldCost(n int, folder string, rep *job.Report) {
	path := folder
	if !filepath.IsAbs(path) {
		path = filepath.Join(filepath.Dir(r.path), path)
	}
	f, err := job.Load(path)
	if err != nil {
		r.warn("tool %q: its cost is not written, and its job's prices cannot be read: %v", r.f.Tools[n].Name, err)
		return
	}
	c := CostOfMould(rep, f.Compare)
	r.f.Tools[n].Cost = c.Total()
	r.mouldCosts[r.f.Tools[n].Name] = c
	if c.Typical && c.Total() > 0 {
		r.warn("tool %q: a mould costs %.2f by what its job prints and pours, at prices of which some are typical values; write your own under [compare] in the job, or the cost here", r.f.Tools[n].Name, c.Total())
	}
}

func cavityWords(n int) string {
	if n == 1 {
		return "one cavity"
	}
	return fmt.Sprintf("%d cavities", n)
}

// boxDrifts compares sizes whichever way up the mould stands.
func boxDrifts(written []float64, block [3]float64) bool {
	w, of := slices.Sorted(slices.Values(written)), slices.Sorted(slices.Values(block[:]))
	for k := range w {
		if drifts(w[k], of[k]) {
			return true
		}
	}
	return false
}

// results reads the last report of a job that gave a mould and a shot.
func (r *reader) results(n int, folder string) *job.Report {
	path := folder
	if !filepath.IsAbs(path) {
		path = filepath.Join(filepath.Dir(r.path), path)
	}
	if st, err := os.Stat(path); err != nil || !st.IsDir() {
		r.fail("tool", n, "job", "there is no job folder %s; the path counts from the folder of this file", path)
		return nil
	}
	rep, err := job.LastReport(path)
	switch {
	case err != nil:
		r.fail("tool", n, "job", "%v", err)
		return nil
	case rep.Refused:
		why := ""
		if len(rep.Reasons) > 0 {
			why = " (" + rep.Reasons[0].What + ": " + rep.Reasons[0].Words + ")"
		}
		r.fail("tool", n, "job", "the job was refused%s; put it right in its job.toml, then: mouldwright run %s", why, path)
		return nil
	case rep.Mould == nil || rep.Shot == nil:
		r.fail("tool", n, "job", "the job's results have no mould or no shot; make them anew with: mouldwright run %s", path)
		return nil
	}
	return rep
}

// recipeTools lists the tools with a job that the versions pour by a recipe, in the file's order.
func (r *reader) recipeTools(recipe string) (out []int) {
	for n, t := range r.f.Tools {
		for _, v := range r.f.Versions {
			if v.Recipe == recipe && v.Tool == t.Name && n < len(r.jobs) && r.jobs[n] != nil {
				out = append(out, n)
				break
			}
		}
	}
	return out
}

// recipeJobs takes the material, the shot and the pot life of recipe n from the jobs of its tools where
// they are left out, and compares them where they are written.
func (r *reader) recipeJobs(b *Bench, n int) (shotG, potLifeMin float64) {
	f := &r.f.Recipes[n]
	tools := r.recipeTools(f.Name)
	r.recipeMaterial(b, n, tools)
	shotG = r.recipeValue(n, tools, jobValue{"shot_g", "g", f.ShotG, func(rep *job.Report) float64 { return rep.Shot.TotalG }, true})
	potLifeMin = r.recipeValue(n, tools, jobValue{"pot_life_min", "min", f.PotLifeMin, func(rep *job.Report) float64 {
		if rep.Shot.PotLife == nil {
			return 0
		}
		return rep.Shot.PotLife.Seconds / 60
	}, false})
	return shotG, potLifeMin
}

func (r *reader) recipeMaterial(b *Bench, n int, tools []int) {
	f := &r.f.Recipes[n]
	written := f.Material != ""
	for _, t := range tools {
		switch id := r.jobs[t].Shot.MaterialID; {
		case written && f.Material != id:
			r.warn("recipe %q: the material is %q, the job of tool %q casts %q; the written one is used", f.Name, f.Material, r.f.Tools[t].Name, id)
		case written || f.Material == id:
		case f.Material != "":
			r.fail("recipe", n, "material", "the jobs of its moulds cast %q and %q: give each its own recipe, or write the material", f.Material, id)
		case b.material(id) == nil:
			r.fail("recipe", n, "material", "the job of tool %q casts %q, and no [[material]] has that name; add one with its kits", r.f.Tools[t].Name, id)
		default:
			f.Material = id
		}
	}
}

// jobValue is a setting of a recipe that a job knows too.
type jobValue struct {
	key, unit string
	written   *float64
	of        func(*job.Report) float64 // 0 is not known
	perCavity bool
}

func (r *reader) recipeValue(n int, tools []int, q jobValue) float64 {
	recipe, found := r.f.Recipes[n].Name, 0.0
	for _, t := range tools {
		tool, v := &r.f.Tools[t], q.of(r.jobs[t])
		has := r.jobs[t].Mould.Castings()
		many := q.perCavity && tool.Cavities != has
		switch {
		case q.written != nil:
			if v > 0 && !many && drifts(*q.written, v) {
				r.warn("recipe %q: %s is %.4g %s, by the job of tool %q it is %.4g %s; the written value is used", recipe, q.key, *q.written, q.unit, tool.Name, v, q.unit)
			}
		case v == 0:
			r.fail("recipe", n, q.key, "the job of tool %q does not know it; write it here", tool.Name)
		case many:
			r.fail("recipe", n, q.key, "the job of tool %q has %s, the tool %d; write it here", tool.Name, cavityWords(has), tool.Cavities)
		case found > 0 && drifts(v, found):
			r.fail("recipe", n, q.key, "the jobs of its moulds have %.4g and %.4g %s: give each its own recipe, or write it here", found, v, q.unit)
		case found == 0:
			found = v
		case q.key == "pot_life_min": // the side that spoils nothing
			found = min(found, v)
		default:
			found = max(found, v)
		}
	}
	if q.written != nil {
		return *q.written
	}
	return found
}

// mouldIDs checks that every mould of tool n has an id of its own, if any has.
func (r *reader) mouldIDs(b *Bench, n int) {
	t := &r.f.Tools[n]
	if len(t.MouldIDs) > 0 && len(t.MouldIDs) != t.Count {
		r.fail("tool", n, "mould_ids", "%d ids for %d moulds; give one for each, as \"mouldwright record mould\" lists them", len(t.MouldIDs), t.Count)
	}
	for k, id := range t.MouldIDs {
		taken := id == "" || slices.Contains(t.MouldIDs[:k], id)
		for _, o := range b.Tools {
			taken = taken || slices.Contains(o.MouldIDs, id)
		}
		if taken {
			r.fail("tool", n, "mould_ids", "%q is empty or there twice; each mould has an id of its own", id)
		}
	}
}
