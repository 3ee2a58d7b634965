package shopsheet

import (
	"mouldwright/internal/sheet"

	"gonum.org/v1/gonum/spatial/r2"
)

// spot is a mark in the sketch with its name.
type spot struct {
	at       r2.Vec
	radiusMM float64
	name     string
}

const nameMM = 1.6 // height of a name's capitals

// names puts each name beside its mark, at the first of the places around it that touches no mark, no
// other name and not the block's edge. A name without such a place is left out: the plan drawing has it.
func names(spots []spot, frame r2.Box) []sheet.Text {
	var taken []r2.Box
	for _, s := range spots {
		taken = append(taken, around(s.at, s.radiusMM))
	}
	var out []sheet.Text
	for _, s := range spots {
		w, gap := sheet.Text{Words: s.name, HeightMM: nameMM}.WidthMM(), s.radiusMM+0.6
		for _, low := range []r2.Vec{
			{X: gap, Y: -nameMM / 2}, {X: -gap - w, Y: -nameMM / 2}, {X: -w / 2, Y: -gap - nameMM}, {X: -w / 2, Y: gap},
			{X: gap * 0.7, Y: -gap*0.7 - nameMM}, {X: -gap*0.7 - w, Y: -gap*0.7 - nameMM}, {X: gap * 0.7, Y: gap * 0.7}, {X: -gap*0.7 - w, Y: gap * 0.7},
		} {
			box := r2.Box{Min: r2.Add(s.at, low), Max: r2.Add(s.at, r2.Vec{X: low.X + w, Y: low.Y + nameMM})}
			if !crossesEdge(box, frame) && free(box, taken) {
				taken = append(taken, box)
				out = append(out, sheet.Text{At: r2.Vec{X: box.Min.X, Y: box.Max.Y}, Words: s.name, HeightMM: nameMM})
				break
			}
		}
	}
	return out
}

func around(p r2.Vec, r float64) r2.Box {
	return r2.Box{Min: r2.Vec{X: p.X - r, Y: p.Y - r}, Max: r2.Vec{X: p.X + r, Y: p.Y + r}}
}

func overlap(a, b r2.Box) bool {
	return a.Min.X < b.Max.X && b.Min.X < a.Max.X && a.Min.Y < b.Max.Y && b.Min.Y < a.Max.Y
}

func free(box r2.Box, taken []r2.Box) bool {
	for _, t := range taken {
		if overlap(box, t) {
			return false
		}
	}
	return true
}

// crossesEdge says whether a box lies partly in and partly out of the frame, or within a line of it.
func crossesEdge(box, frame r2.Box) bool {
	const line = 0.5
	in := box.Min.X > frame.Min.X+line && box.Max.X < frame.Max.X-line && box.Min.Y > frame.Min.Y+line && box.Max.Y < frame.Max.Y-line
	out := box.Max.X < frame.Min.X-line || box.Min.X > frame.Max.X+line || box.Max.Y < frame.Min.Y-line || box.Min.Y > frame.Max.Y+line
	return !in && !out
}
