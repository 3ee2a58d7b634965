package job

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"mouldwright/internal/mesh"
	"mouldwright/internal/sheet"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// cut is an upright section along x or y of the mould frame. Letter names it on the plan.
type cut struct {
	letter, file, through string
	alongY                bool
	at                    float64 // y of a cut along x, x of one along y
}

func (c cut) plane() sheet.Plane {
	if c.alongY {
		return sheet.Plane{Origin: r3.Vec{X: c.at}, U: r3.Vec{Y: 1}, V: r3.Vec{Z: 1}}
	}
	return sheet.Plane{Origin: r3.Vec{Y: c.at}, U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}}
}

func (c cut) subject() string {
	across := "y"
	if c.alongY {
		across = "x"
	}
	return fmt.Sprintf("section %s-%s at %s = %.1f mm, through %s", c.letter, c.letter, across, tenth(c.at), c.through)
}

// tenth rounds to a tenth, without a minus before zero.
func tenth(v float64) float64 { return math.Round(v*10)/10 + 0 }

// off is how far a place lies from the cut.
func (c cut) off(at r3.Vec) float64 {
	if c.alongY {
		return math.Abs(at.X - c.at)
	}
	return math.Abs(at.Y - c.at)
}

// sections chooses the cuts: two through the sprue, or the middle where there is none, and then one
// through the bolts and one through the keys, unless an earlier cut shows one of those already. Each of
// these runs where it meets the most.
func sections(m *tooling.Mould) []cut {
	middle := r3.Scale(0.5, r3.Add(m.Block.Min, m.Block.Max))
	through, at := "the middle", middle
	for _, q := range m.Features {
		if q.Kind == "sprue" || q.Kind == "side sprue" {
			through, at = "the sprue", q.At
			break
		}
	}
	cuts := []cut{{file: "section-x", through: through, at: at.Y}, {file: "section-y", through: through, alongY: true, at: at.X}}
	if g, ok := gateCut(m); ok { // the sprue stands beside the cavities
		i := 0
		if g.alongY {
			i = 1
		}
		g.file = cuts[i].file
		cuts[i] = g
	}
	for _, kind := range []struct{ kind, words string }{{"bolt", "bolts"}, {"key", "keys"}} {
		if c, ok := cutThrough(m, cuts, kind.kind); ok {
			c.file, c.through = "section-"+kind.words, kind.words
			cuts = append(cuts, c)
		}
	}
	for i := range cuts {
		cuts[i].letter = string(rune('A' + i))
	}
	return cuts
}

// gateCut runs along the gate of the first of several cavities, through the cavity.
func gateCut(m *tooling.Mould) (cut, bool) {
	if m.Runner == nil {
		return cut{}, false
	}
	g := m.Runner.Gates[0]
	if math.Abs(g.Dir.Y) > math.Abs(g.Dir.X) {
		return cut{through: "gate C1", alongY: true, at: g.Start.X}, true
	}
	return cut{through: "gate C1", at: g.Start.Y}, true
}

const (
	// middleMM is how near two places count as one.
	middleMM = 0.05
	// trueMM is how near the middle of a bolt or key a cut must pass to show it in its true size: half a
	// millimetre beside the middle of a cone of 4 mm radius, 99 % of it shows.
	trueMM = 0.5
)

// cutThrough finds the cut along x or y that passes through the middles of the most features of a
// kind. ok is false when there are none, or one of the cuts had already does so.
func cutThrough(m *tooling.Mould, had []cut, kind string) (best cut, ok bool) {
	most := 0
	for _, q := range m.Features {
		if q.Kind != kind {
			continue
		}
		for _, c := range had {
			if c.off(q.At) <= trueMM {
				return cut{}, false
			}
		}
		for _, c := range []cut{{at: q.At.Y}, {alongY: true, at: q.At.X}} {
			n := 0
			for _, o := range m.Features {
				if o.Kind == kind && c.off(o.At) <= middleMM {
					n++
				}
			}
			if n > most {
				most, best = n, c
			}
		}
	}
	return best, most > 0
}

// writeDrawings draws the sections and the plan, as SVG each and as one PDF.
func writeDrawings(ctx context.Context, out *results, f *File, m *tooling.Mould, rep *Report) error {
	paper, err := sheet.PaperByName(cmp.Or(f.Drawing.Paper, papers[0]))
	if err != nil {
		return err
	}
	note := ""
	if rep.Shot != nil {
		note = rep.Shot.Name
	}
	cuts := sections(m)
	hollow := ""
	if m.Runner != nil { // a cut may show the runner alone
		hollow = "casting"
	}
	head := func(subject string, page int) sheet.Head {
		return sheet.Head{Title: rep.Part.Name, Subject: subject, Note: note, Sheet: fmt.Sprintf("%d / %d", page, len(cuts)+1)}
	}
	var pieces []sheet.Piece
	for _, p := range m.Pieces {
		pieces = append(pieces, sheet.Piece{Name: p.Name, Mesh: p.Mesh})
	}
	var pages []*sheet.Drawing
	for i, c := range cuts {
		// Every label given is drawn: sectionLabels has chosen what the cut meets.
		d, err := sheet.SectionDrawing(ctx, pieces, c.plane(), sheet.SectionOptions{Paper: paper, Head: head(c.subject(), i+1),
			Part: m.Cast, Hollow: hollow, Labels: sectionLabels(m, c), NearMM: math.MaxFloat64})
		if err != nil {
			return err
		}
		pages = append(pages, d)
		if err := out.add("drawings/"+c.file+".svg", d.WriteSVG); err != nil {
			return err
		}
	}
	o, err := planOptions(ctx, m, cuts)
	if err != nil {
		return err
	}
	o.Paper, o.Head = paper, head("parting surface from above", len(cuts)+1)
	plan, err := sheet.PlanDrawing(o)
	if err != nil {
		return err
	}
	if err := out.add("drawings/plan.svg", plan.WriteSVG); err != nil {
		return err
	}
	return out.add("drawings.pdf", func(f io.Writer) error { return sheet.WritePDF(f, append(pages, plan)...) })
}

// sectionLabels names the features that a cut meets. Those alike share a label, at the one nearest to
// the right, where the labels stand.
func sectionLabels(m *tooling.Mould, c cut) []sheet.Label {
	type group struct {
		names []string
		at    r3.Vec
		along float64
	}
	var order []string
	groups := map[string]*group{}
	for _, q := range m.Features {
		at, ok := cutPlace(q, c)
		if !ok {
			continue
		}
		words := q.Kind
		if s, _, _ := strings.Cut(shortSize(q), ", "); s != "" {
			words += ", " + s
		}
		along := q.At.X
		if c.alongY {
			along = q.At.Y
		}
		g := groups[words]
		if g == nil {
			g = &group{along: math.Inf(-1)}
			groups[words], order = g, append(order, words)
		}
		g.names = append(g.names, q.Name)
		if along > g.along {
			g.at, g.along = at, along
		}
	}
	var out []sheet.Label
	for _, words := range order {
		out = append(out, sheet.Label{Words: names(groups[words].names) + " " + words, At: groups[words].at})
	}
	return out
}

// cutPlace is where a feature shows in a cut. ok is false when the cut misses it.
func cutPlace(q tooling.Feature, c cut) (at r3.Vec, ok bool) {
	size := sizes(q)
	at = q.At
	reach := 0.0 // how far from its middle a cut still meets it
	switch q.Kind {
	case "bolt":
		reach = size["hole"] / 2
		at.Z += size["nut pocket depth"] + size["grip"]/2
	case "key": // a cone is shown near its true size only near its middle
		reach = size["tip diameter"] / 4
		at.Z -= size["rise"] / 2
	case "sprue", "vent":
		reach = min(size["top diameter"], size["bottom diameter"]) / 2
		at.Z -= math.Copysign(size["length"]/4, at.Z) // into the mould, from above or from below
	case "pry slot":
		reach = size["width"] / 2
	default:
		return at, false
	}
	return at, c.off(q.At) < 0.9*reach // a cut that just grazes it shows nothing worth a name
}

func sizes(q tooling.Feature) map[string]float64 {
	out := map[string]float64{}
	for _, s := range q.SizesMM {
		out[s.Name] = s.MM
	}
	return out
}

// shortSize says in a few words how a feature is made; the report has all of it.
func shortSize(q tooling.Feature) string {
	size := sizes(q)
	switch q.Kind {
	case "bolt":
		// The words of a bolt begin with its standard name, "M5 × 20 cap screw …".
		var thread string
		var length float64
		if n, _ := fmt.Sscanf(q.Words, "%s × %g", &thread, &length); n == 2 {
			return fmt.Sprintf("%s × %g", thread, length)
		}
		return fmt.Sprintf("hole %.1f mm", size["hole"])
	case "key":
		return fmt.Sprintf("%.1f mm, %.2f mm clearance", size["base diameter"], size["clearance"])
	case "sprue", "vent":
		return fmt.Sprintf("%.1f mm to %.1f mm", size["top diameter"], size["bottom diameter"])
	case "runner":
		return fmt.Sprintf("%.1f mm wide, %.1f mm deep, %.0f mm in all", size["width"], size["depth"], size["length"])
	case "gate":
		return fmt.Sprintf("%.2f × %.1f mm, %.1f mm long", size["width"], size["depth"], size["length"])
	case "side sprue", "side vent":
		return fmt.Sprintf("%.1f × %.1f mm", size["width"], size["height"])
	case "pry slot":
		return fmt.Sprintf("%.1f mm wide, %.1f mm deep", size["width"], size["depth"])
	case "levelling screw":
		return fmt.Sprintf("hole %.1f mm", size["hole"])
	case "air hole", "bond hole":
		return fmt.Sprintf("%.1f mm to %.1f mm", size["diameter below"], size["diameter above"])
	case "tab":
		return fmt.Sprintf("%.1f × %.1f mm, neck %.1f mm", size["width"], size["thickness"], size["neck"])
	case "moat":
		return fmt.Sprintf("%.1f mm wide, %.1f mm deep", size["width"], size["depth"])
	case "gutter":
		return fmt.Sprintf("runs round the cavity, %.1f mm from it; %.1f mm wide, %.2f mm deep", size["land"], size["width"], size["depth"])
	}
	return ""
}

func planOptions(ctx context.Context, m *tooling.Mould, cuts []cut) (sheet.PlanOptions, error) {
	lo, hi := m.Block.Min, m.Block.Max
	o := sheet.PlanOptions{
		Block:   []r2.Vec{{X: lo.X, Y: lo.Y}, {X: hi.X, Y: lo.Y}, {X: hi.X, Y: hi.Y}, {X: lo.X, Y: hi.Y}},
		Parting: sheet.Outline{Name: "parting line", Loops: m.Shadow}}
	for _, c := range cuts {
		from, to := r2.Vec{X: lo.X, Y: c.at}, r2.Vec{X: hi.X, Y: c.at}
		if c.alongY {
			from, to = r2.Vec{X: c.at, Y: lo.Y}, r2.Vec{X: c.at, Y: hi.Y}
		}
		o.Cuts = append(o.Cuts, sheet.Cut{Letter: c.letter, From: from, To: to})
	}
	for _, q := range m.Features {
		if q.Kind == "gutter" {
			outline, err := gutterOutline(ctx, m, q)
			if err != nil {
				return o, err
			}
			if outline != nil {
				o.Outlines = append(o.Outlines, *outline)
			}
		}
		if q.Kind == "runner" && m.Runner != nil { // its mark names it
			o.Outlines = append(o.Outlines, sheet.Outline{Loops: m.Runner.Plan()})
		}
		if len(q.Outline) > 0 {
			o.Outlines = append(o.Outlines, sheet.Outline{Name: q.Name + " " + q.Kind, Loops: q.Outline})
		}
		if s, ok := planSpot(m, q); ok {
			o.Spots = addSpot(o.Spots, s)
		}
	}
	return o, nil
}

// addSpot adds a spot, or where one of its kind stands at the same place, as the labels of both halves
// do, its mark to that one.
func addSpot(spots []sheet.Spot, s sheet.Spot) []sheet.Spot {
	for i, o := range spots {
		if o.Name == s.Name && r2.Norm(r2.Sub(o.At, s.At)) < middleMM {
			spots[i].Mark += ", " + s.Mark
			spots[i].Size += "; " + s.Size
			return spots
		}
	}
	return append(spots, s)
}

// planSpot is how a feature shows on the plan.
func planSpot(m *tooling.Mould, q tooling.Feature) (sheet.Spot, bool) {
	size := sizes(q)
	s := sheet.Spot{Mark: q.Name, Name: q.Kind, Size: shortSize(q), At: r2.Vec{X: q.At.X, Y: q.At.Y}}
	switch q.Kind {
	case "bolt":
		s.DiameterMM = size["hole"]
	case "key":
		s.DiameterMM = size["base diameter"]
	case "sprue", "vent":
		s.DiameterMM = max(size["top diameter"], size["bottom diameter"])
	case "pry slot":
		pryOutline(m, &s, size["width"], size["depth"])
	case "label", "cross bolt", "cone key", "rail", "split pry slot": // seen from the side: a mark, without an outline
		s.Size = q.Words
	case "cavity number": // where there are gates their marks say as much
		if m.Runner != nil {
			return s, false
		}
		s.Size = q.Words
	case "cut":
		s.Size = fmt.Sprintf("%.1f mm deep, %.1f mm left uncut at the far end", size["depth"], size["left uncut"])
	case "levelling screw":
		s.DiameterMM = size["hole"]
	case "air hole", "bond hole":
		s.DiameterMM = size["diameter above"]
	case "gutter", "moat", "tab", "side sprue", "runner", "gate": // the mark stands at its place; the outline is drawn by itself
	default:
		return s, false
	}
	return s, true
}

// pryOutline makes the spot the rectangle that runs in from the side of the block where the slot begins.
// One at a corner, which runs in askew, is shown by a circle of its width.
func pryOutline(m *tooling.Mould, s *sheet.Spot, width, depth float64) {
	lo, hi := m.Block.Min, m.Block.Max
	toSide := []float64{s.At.X - lo.X, hi.X - s.At.X, s.At.Y - lo.Y, hi.Y - s.At.Y}
	near := 0
	for _, d := range toSide {
		if d < middleMM {
			near++
		}
	}
	if near != 1 {
		s.DiameterMM = width
		return
	}
	switch slices.Index(toSide, slices.Min(toSide)) {
	case 0:
		s.WidthMM, s.HeightMM, s.At.X = depth, width, lo.X+depth/2
	case 1:
		s.WidthMM, s.HeightMM, s.At.X = depth, width, hi.X-depth/2
	case 2:
		s.WidthMM, s.HeightMM, s.At.Y = width, depth, lo.Y+depth/2
	case 3:
		s.WidthMM, s.HeightMM, s.At.Y = width, depth, hi.Y-depth/2
	}
}

// gutterOutline cuts the lower half level, halfway down the gutter, and keeps the loops that are its
// walls: those that pass within half its width of the feature's place, which is its middle. On a
// parting surface that is not flat a level cut would not follow it, and only its place is marked.
func gutterOutline(ctx context.Context, m *tooling.Mould, q tooling.Feature) (*sheet.Outline, error) {
	if !m.Surface.Flat {
		return nil, nil
	}
	var lower *mesh.Mesh
	for _, p := range m.Pieces {
		if p.Exit.Z < 0 {
			lower = p.Mesh
		}
	}
	if lower == nil {
		return nil, nil
	}
	size := sizes(q)
	loops, err := sheet.Section(ctx, lower, sheet.Plane{Origin: r3.Vec{Z: q.At.Z + size["depth"]/2}, U: r3.Vec{X: 1}, V: r3.Vec{Y: 1}})
	if err != nil {
		return nil, err
	}
	o := &sheet.Outline{Name: q.Name + " overflow gutter"}
	at := r2.Vec{X: q.At.X, Y: q.At.Y}
	for _, l := range loops {
		if distance(l, at) <= size["width"]/2 {
			o.Loops = append(o.Loops, l)
		}
	}
	if len(o.Loops) == 0 {
		return nil, nil
	}
	return o, nil
}

// distance is from a point to a closed loop's line.
func distance(loop []r2.Vec, p r2.Vec) float64 {
	best := math.Inf(1)
	for i, a := range loop {
		ab := r2.Sub(loop[(i+1)%len(loop)], a)
		t := 0.0
		if l := r2.Norm2(ab); l > 0 {
			t = min(1, max(0, r2.Dot(r2.Sub(p, a), ab)/l))
		}
		best = min(best, r2.Norm(r2.Sub(p, r2.Add(a, r2.Scale(t, ab)))))
	}
	return best
}
