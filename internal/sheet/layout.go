package sheet

import (
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

const (
	dimStepMM    = 8.0  // between the object and the first dimension line, and between dimension lines
	dimRoomMM    = 22.0 // kept free below and left of a view for two dimension lines
	topRoomMM    = 16.0 // kept free above it for one
	labelRoomMM  = 62.0 // kept free on the right for labels
	captionMM    = 9.0  // kept free for the caption below
	labelStepMM  = 5.5  // between the baselines of labels
	leaderStubMM = 3.0  // level part of a leader before its text
)

// view places real mm on the sheet at one scale.
type view struct {
	scale  scale
	lo, hi r2.Vec // real mm
	corner r2.Vec // paper place of (lo.X, hi.Y), the view's upper left
	labelX float64
	top    float64 // paper y range for labels
	bottom float64
}

func (v view) at(p r2.Vec) r2.Vec {
	f := v.scale.factor()
	return r2.Vec{X: v.corner.X + (p.X-v.lo.X)*f, Y: v.corner.Y + (v.hi.Y-p.Y)*f}
}

func (v view) onPaper(loops [][]r2.Vec) [][]r2.Vec {
	out := make([][]r2.Vec, len(loops))
	for i, l := range loops {
		out[i] = make([]r2.Vec, len(l))
		for j, p := range l {
			out[i][j] = v.at(p)
		}
	}
	return out
}

// place chooses the scale and centres the view in the room that dimensions and labels leave.
func (d *Drawing) place(lo, hi r2.Vec) (view, error) {
	x0, y0, x1, y1 := d.frame()
	roomW, roomH := x1-x0-dimRoomMM-labelRoomMM, y1-y0-topRoomMM-dimRoomMM-captionMM
	w, h := hi.X-lo.X, hi.Y-lo.Y
	s, err := fitScale(w, h, roomW, roomH)
	if err != nil {
		return view{}, err
	}
	f := s.factor()
	v := view{scale: s, lo: lo, hi: hi, top: y0 + 8, bottom: y1 - 4}
	v.corner = r2.Vec{X: x0 + dimRoomMM + (roomW-w*f)/2, Y: y0 + topRoomMM + (roomH-h*f)/2}
	// Labels stand near a small view, not at the far edge of the sheet.
	v.labelX = min(x1-labelRoomMM+12, v.corner.X+w*f+18)
	return v, nil
}

// caption names the view and its scale below it.
func (d *Drawing) caption(v view, words string) {
	a, b := v.at(v.lo), v.at(v.hi)
	t := Text{Words: fmt.Sprintf("%s, %s", words, v.scale), HeightMM: 3.5, Anchor: Middle}
	x0, _, x1, _ := d.frame()
	t = t.shortened(x1 - x0 - 4)
	t.At = r2.Vec{X: (a.X + b.X) / 2, Y: a.Y + dimRoomMM + captionMM - 4}
	if over := x0 + 2 - (t.At.X - t.WidthMM()/2); over > 0 {
		t.At.X += over
	}
	d.Text(t)
}

// mark is a place on paper and its label.
type mark struct {
	spot  r2.Vec
	words string
}

// labels stacks the labels in a column on the right, in the order of their spots' heights so that
// leaders seldom cross, and spreads them where they would touch. They end before right.
func (d *Drawing) labels(v view, marks []mark, right float64) {
	slices.SortStableFunc(marks, func(a, b mark) int {
		switch {
		case a.spot.Y != b.spot.Y:
			if a.spot.Y < b.spot.Y {
				return -1
			}
			return 1
		case a.spot.X > b.spot.X: // the nearer spot gets the upper label
			return -1
		case a.spot.X < b.spot.X:
			return 1
		}
		return 0
	})
	for i, y := range spread(marks, v.top, v.bottom) {
		m := marks[i]
		end := r2.Vec{X: v.labelX, Y: y}
		d.Polyline(PenNarrow, false, m.spot, r2.Vec{X: end.X - leaderStubMM, Y: y}, end)
		d.Dot(m.spot, 0.6)
		d.Text(Text{Words: m.words, At: r2.Vec{X: end.X + 1, Y: y + 1.25}, Clear: true}.shortened(right - end.X - 3))
	}
}

// spread gives each mark a height near its own with at least labelStepMM between, within top and
// bottom where there is room.
func spread(marks []mark, top, bottom float64) []float64 {
	ys := make([]float64, len(marks))
	for i, m := range marks {
		ys[i] = max(m.spot.Y, top)
		if i > 0 {
			ys[i] = max(ys[i], ys[i-1]+labelStepMM)
		}
	}
	limit := bottom
	for i := len(ys) - 1; i >= 0; i-- {
		ys[i] = min(ys[i], limit)
		limit = ys[i] - labelStepMM
	}
	return ys
}
