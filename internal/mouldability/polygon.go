package mouldability

import (
	"gonum.org/v1/gonum/spatial/r2"
)

// polygons is a store of small convex polygons, counter-clockwise, that is emptied for each facet;
// polygons handed out stay valid until then.
type polygons struct{ pts []r2.Vec }

func (s *polygons) reset() { s.pts = s.pts[:0] }

// side is the half-plane n·v + c ≥ 0.
type side struct {
	n r2.Vec
	c float64
}

// leftOf is the half-plane to the left of the line from p to q.
func leftOf(p, q r2.Vec) side {
	n := r2.Vec{X: p.Y - q.Y, Y: q.X - p.X}
	return side{n, -(n.X*p.X + n.Y*p.Y)}
}

func (h side) at(v r2.Vec) float64 { return h.n.X*v.X + h.n.Y*v.Y + h.c }
func (h side) other() side         { return side{r2.Scale(-1, h.n), -h.c} }

// clip keeps the part of poly on the side h; nil when nothing is left.
func (s *polygons) clip(poly []r2.Vec, h side) []r2.Vec {
	base := len(s.pts)
	last := poly[len(poly)-1]
	dl := h.at(last)
	for _, p := range poly {
		d := h.at(p)
		if (dl < 0) != (d < 0) {
			t := dl / (dl - d)
			s.pts = append(s.pts, r2.Vec{X: last.X + t*(p.X-last.X), Y: last.Y + t*(p.Y-last.Y)})
		}
		if d >= 0 {
			s.pts = append(s.pts, p)
		}
		last, dl = p, d
	}
	if len(s.pts)-base < 3 {
		s.pts = s.pts[:base]
		return nil
	}
	return s.pts[base:len(s.pts):len(s.pts)]
}

// moments are ∫1, ∫x and ∫y over a polygon.
type moments struct{ A, X, Y float64 }

func (m *moments) add(o moments) { m.A += o.A; m.X += o.X; m.Y += o.Y }

func momentsOf(poly []r2.Vec) (m moments) {
	p := poly[0]
	for k := 1; k+1 < len(poly); k++ {
		q, r := poly[k], poly[k+1]
		a := r2.Cross(r2.Sub(q, p), r2.Sub(r, p)) / 2
		m.add(moments{a, a * (p.X + q.X + r.X) / 3, a * (p.Y + q.Y + r.Y) / 3})
	}
	return m
}

// narrowness is at most the least width of a convex polygon and at least a third of it: its area
// over the diagonal of its box. Widths measured across edges would fail on edges of no direction.
func narrowness(poly []r2.Vec) float64 {
	b := boxOf(poly)
	return momentsOf(poly).A / r2.Norm(r2.Sub(b.Max, b.Min))
}

func boxOf(poly []r2.Vec) r2.Box {
	b := r2.Box{Min: poly[0], Max: poly[0]}
	for _, v := range poly[1:] {
		b.Min = r2.Vec{X: min(b.Min.X, v.X), Y: min(b.Min.Y, v.Y)}
		b.Max = r2.Vec{X: max(b.Max.X, v.X), Y: max(b.Max.Y, v.Y)}
	}
	return b
}
