package shopsheet

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"mouldwright/internal/job"
	"mouldwright/internal/material"
	"mouldwright/internal/sheet"

	qrcode "github.com/skip2/go-qrcode"
	"gonum.org/v1/gonum/spatial/r2"
)

// head is the title with the QR code beside it.
func (b *book) head(c Content) error {
	right := b.right()
	h := 22.0
	if c.Link != "" {
		if err := b.qr(c.Link, right-qrMM, b.y); err != nil {
			return err
		}
		lines := wrap(strings.ReplaceAll(c.Link, "/", "/ "), smallMM, false, qrMM+24)
		for i, l := range lines {
			b.d.Text(sheet.Text{At: r2.Vec{X: right, Y: b.y + qrMM + 3.2 + float64(i)*3}, Words: strings.ReplaceAll(l, "/ ", "/"), HeightMM: smallMM, Anchor: sheet.End})
		}
		right -= qrMM + 6
		h = qrMM + 3.2 + 3*float64(len(lines))
	}
	y := b.y + 6
	for _, l := range wrap(c.Report.Part.Name, 5, true, right-b.left()) {
		b.text(b.left(), y, 5, true, l)
		y += 8
	}
	shots := "one filling"
	if c.Plan.Shots > 1 {
		shots = fmt.Sprintf("%d fillings", c.Plan.Shots)
	}
	for _, words := range []string{fmt.Sprintf("Mould: %s; %s.", c.Plan.Family, shots), "Material: " + c.Report.Shot.Name + " (" + c.Plan.Material + ")"} {
		for _, l := range wrap(words, bodyMM, false, right-b.left()) {
			b.text(b.left(), y, bodyMM, false, l)
			y += leadMM
		}
	}
	// A line to write on, on its own row.
	y += 3
	x := b.left()
	for _, f := range []struct {
		name string
		w    float64
	}{{"Date", 26}, {"Operator", 34}, {"Mould no.", 24}} {
		b.text(x, y, smallMM, false, f.name)
		x += sheet.Text{Words: f.name, HeightMM: smallMM}.WidthMM() + 1.5
		if f.name == "Date" && c.Date != "" {
			b.text(x, y, bodyMM, false, c.Date)
		}
		b.d.Line(thin, r2.Vec{X: x, Y: y + 0.6}, r2.Vec{X: x + f.w, Y: y + 0.6})
		x += f.w + 4
	}
	b.y = max(b.y+h, y+2) + gapMM + 1
	return nil
}

// qr draws the code as dark runs, so that a printer makes no hairlines between modules.
func (b *book) qr(content string, x, y float64) error {
	q, err := qrcode.New(content, qrcode.Medium)
	if err != nil {
		return fmt.Errorf("the link for the QR code (%d letters): %w", len(content), err)
	}
	m := q.Bitmap() // with the quiet zone that scanners need
	s := qrMM / float64(len(m))
	for i, row := range m {
		for j := 0; j < len(row); j++ {
			from := j
			for j < len(row) && row[j] {
				j++
			}
			if j > from {
				b.d.Fill(black, corners(x+float64(from)*s, y+float64(i)*s, x+float64(j)*s, y+float64(i+1)*s))
			}
		}
	}
	return nil
}

// heading is a bold line over a block.
func (b *book) heading(words string) {
	b.text(b.left(), b.y+3.2, titleMM, true, words)
	b.y += 5.4
}

// amounts is the table of one filling, and of the backfill of a ballast.
func (b *book) amounts(c Content) {
	b.heading("Weigh for one filling")
	b.shot(c.Report.Shot)
	if p := c.Plan.Batch; p != nil {
		b.paragraph(mixWords(p, c.Plan.CupML), bodyMM)
	}
	b.y += gapMM
	for _, q := range c.Report.Pours {
		if q.Shot == nil {
			continue
		}
		b.room(30)
		b.heading(fmt.Sprintf("Weigh once for the %s: %s", q.Piece, q.Shot.Name))
		b.shot(q.Shot)
		b.y += gapMM
	}
	if r := c.Report.Ballast; r != nil {
		b.ballast(r)
	}
}

// shot is the table of what to weigh.
func (b *book) shot(s *material.Shot) {
	var rows [][]string
	row := func(name string, g, ml float64, note string) {
		words := ""
		if ml > 0 {
			words = strconv.FormatFloat(ml, 'f', 1, 64)
		}
		rows = append(rows, []string{name, grams(g), words, note})
	}
	for _, d := range s.Components {
		row(d.Name, d.G, d.ML, "")
	}
	for _, e := range s.Extras {
		row(e.Name, e.G, e.ML, fmt.Sprintf("%s, %.2g %% of %s", e.Kind, e.GotPct, e.Of))
	}
	for _, p := range s.Pigments {
		row(p.Name, p.G, 0, fmt.Sprintf("%.2g %% of %s", p.GotPct, p.Of))
	}
	row("all together", s.TotalG, s.MixML, fmt.Sprintf("density %.3f g/mL ± %g %%", s.Density.GPerML, s.Density.ErrorPct))
	b.table([]string{"component", "g", "mL", ""}, rows, []float64{0, 78, 98, 104})
}

// mixWords says how the fillings are split, and the time that each mix takes of the pot life.
func mixWords(p *material.BatchPlan, cupML float64) string {
	words := fmt.Sprintf("Pot life at %g °C: %s (%s to %s). ", p.PotLife.AtC, minutes(p.PotLife.Seconds), minutes(p.PotLife.LowS), minutes(p.PotLife.HighS))
	if n := len(p.Mixes); n > 1 {
		words += fmt.Sprintf("%d mixes: ", n)
	} else {
		words += "One mix: "
	}
	var kinds []material.MixPlan
	times := map[material.MixPlan]int{}
	for _, x := range p.Mixes {
		if times[x]++; times[x] == 1 {
			kinds = append(kinds, x)
		}
	}
	for i, x := range kinds {
		if i > 0 {
			words += "; "
		}
		if times[x] > 1 {
			words += fmt.Sprintf("%d mixes of ", times[x])
		}
		words += fmt.Sprintf("%s, %.1f mL in %s of %.0f mL, done in %s, %s to spare", count(x.Shots, "filling"), x.ML, count(x.Cups, "cup"), cupML, minutes(x.UsedS), minutes(x.SpareS))
	}
	return words + "."
}

// ballast is what weights each casting.
func (b *book) ballast(r *job.BallastReport) {
	b.room(20)
	b.heading("Ballast of one casting")
	for _, w := range r.Words {
		b.bullet(capital(w) + ".")
	}
	b.y += gapMM
	if r.Backfill == nil {
		return
	}
	b.room(30)
	b.heading("Weigh for one backfill: " + r.Backfill.Name)
	b.shot(r.Backfill)
	b.y += gapMM
}

func grams(g float64) string { return strconv.FormatFloat(g, 'f', -1, 64) }

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// minutes prints a time as a timer shows it, in the unit that reads best.
func minutes(s float64) string {
	switch {
	case s < 120:
		return fmt.Sprintf("%.0f s", s)
	case s < 3*3600:
		return strconv.FormatFloat(math.Round(s/6)/10, 'f', -1, 64) + " min"
	}
	return fmt.Sprintf("%.1f h", s/3600)
}

// table draws rows with columns at the given places; columns 1 and 2 are numbers, which end there.
func (b *book) table(head []string, rows [][]string, at []float64) {
	line := func(cells []string, bold bool) {
		b.y += leadMM
		for i, c := range cells {
			x := b.left() + padMM + at[i]
			t := sheet.Text{At: r2.Vec{X: x, Y: b.y}, Words: c, HeightMM: bodyMM, Bold: bold}
			if i == 1 || i == 2 {
				t.Anchor = sheet.End
			}
			b.d.Text(t)
		}
	}
	top := b.y
	line(head, true)
	b.y += 1.4
	b.d.Line(thin, r2.Vec{X: b.left(), Y: b.y}, r2.Vec{X: b.right(), Y: b.y})
	for _, r := range rows {
		line(r, false)
	}
	b.y += 1.8
	b.box(thick, b.left(), top, b.right(), b.y)
	b.y += 1
}

func (b *book) paragraph(words string, cap float64) {
	for _, l := range wrap(words, cap, false, b.right()-b.left()) {
		b.room(leadMM)
		b.y += leadMM
		b.text(b.left(), b.y-0.6, cap, false, l)
	}
}

// mould is the mould in brief, with a sketch of its parting face on the right.
func (b *book) mould(c Content) {
	const sketchW, sketchH = 62.0, 46.0
	m := c.Report.Mould
	b.room(sketchH + 12)
	b.heading("The mould")
	top := b.y
	words := []string{
		fmt.Sprintf("Block %.1f × %.1f × %.1f mm; parting line %.0f mm.", m.BlockMM[0], m.BlockMM[1], m.BlockMM[2], m.LineMM),
		fmt.Sprintf("Cavity %.3f %% larger than the part, for shrinkage.", 100*(m.Scale[0]-1)),
	}
	if n := m.Castings(); n > 1 {
		on := ", each filled by itself"
		if slices.ContainsFunc(m.Features, func(f job.FeatureReport) bool { return f.Kind == "runner" }) {
			on = " on one runner"
		}
		words = append(words, fmt.Sprintf("%d cavities%s: one filling gives %d castings.", n, on, n))
	}
	if r := c.Report.Shrink; r != nil {
		words = append(words, fmt.Sprintf("The casting's %.1f mm may be off by ± %.2f mm.", r.LengthMM, r.Chain.ErrorMM))
		if r.PrintScale != 1 {
			words = append(words, fmt.Sprintf("Print every piece at %.3f %%.", 100*r.PrintScale))
		}
	}
	for _, p := range m.Pieces {
		words = append(words, fmt.Sprintf("%s: %.1f × %.1f × %.1f mm, %.0f mL.", capital(p.Name), p.SizeMM[0], p.SizeMM[1], p.SizeMM[2], p.VolumeMM3/1000))
	}
	if f := c.Report.Fill; f != nil {
		left := f.Flat.TrappedMM3
		if f.Tilted != nil {
			left = f.Tilted.TrappedMM3
		}
		stands := "Stands level"
		if f.Tilt.TiltDeg >= 0.5 { // less cannot be set on a bench
			stands = fmt.Sprintf("Tilted by %.1f°", f.Tilt.TiltDeg)
		}
		words = append(words, fmt.Sprintf("%s; %.1f mm³ of air stay behind as planned.", stands, left))
	}
	words = append(words, "Sections and plan with dimensions: drawings.pdf of the job.")
	for _, w := range words {
		for _, l := range wrap(w, bodyMM, false, b.right()-b.left()-sketchW-6) {
			b.y += leadMM
			b.text(b.left(), b.y-0.6, bodyMM, false, l)
		}
	}
	b.sketch(c, b.right()-sketchW, top, sketchW, sketchH)
	b.y = max(b.y, top+sketchH) + gapMM
}

func capital(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	if r[0] >= 'a' && r[0] <= 'z' {
		r[0] += 'A' - 'a'
	}
	return string(r)
}

// marks are how features are drawn in the sketch, by kind.
var marks = map[string]struct {
	radiusMM float64
	filled   bool
}{
	"bolt": {1.2, false}, "key": {1.6, false}, "soft key": {1.6, false}, "sprue": {1.6, true}, "side sprue": {1.6, true},
	"fill port": {1.6, true}, "vent": {0.8, true}, "pry slot": {0.9, false},
}

// sketch shows where things are on the block, seen along its opening direction.
func (b *book) sketch(c Content, x, y, w, h float64) {
	m := c.Report.Mould
	bw, bh := m.BlockMM[0], m.BlockMM[1]
	if !(bw > 0 && bh > 0) {
		return
	}
	const keyH = 4.5
	f := min(w/bw, (h-keyH)/bh)
	cx, cy := x+w/2, y+(h-keyH)/2
	b.box(thick, cx-bw*f/2, cy-bh*f/2, cx+bw*f/2, cy+bh*f/2)
	// The block is centred on the mould frame's origin in x and y.
	var spots []spot
	for _, q := range m.Features {
		if k, ok := marks[q.Kind]; ok && math.Abs(q.AtMM[0]) <= bw/2+1 && math.Abs(q.AtMM[1]) <= bh/2+1 {
			spots = append(spots, spot{r2.Vec{X: cx + q.AtMM[0]*f, Y: cy - q.AtMM[1]*f}, k.radiusMM, q.Name})
			if k.filled {
				b.d.Dot(spots[len(spots)-1].at, k.radiusMM)
			} else {
				b.d.Circle(thin, spots[len(spots)-1].at, k.radiusMM)
			}
		}
	}
	frame := r2.Box{Min: r2.Vec{X: cx - bw*f/2, Y: cy - bh*f/2}, Max: r2.Vec{X: cx + bw*f/2, Y: cy + bh*f/2}}
	for _, t := range names(spots, frame) {
		b.d.Text(t)
	}
	legend := "seen from above; names as in the steps; not to scale"
	b.d.Text(sheet.Text{At: r2.Vec{X: cx, Y: y + h}, Words: legend, HeightMM: smallMM, Anchor: sheet.Middle})
}
