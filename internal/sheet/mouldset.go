package sheet

import (
	"context"
	"fmt"
	"image"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// MouldSet is a whole mould to be drawn, in the mould frame: mm, z up.
//
//	sheets, err := set.Sheets(ctx)         // two sections and a plan
//	pictures, err := set.Pictures(ctx, sheet.View{})
type MouldSet struct {
	Head     Head  // Title, Note and Date; Subject and Sheet are filled in
	Paper    Paper // zero: A4
	Pieces   []Leaving
	Part     *mesh.Mesh // the casting, shown as the cavity
	Parting  [][]r2.Vec // the parting line's loops seen from above
	Outlines []Outline  // gutter, runner and the like
	Features []Feature
	Through  *r3.Vec // where the sections cut; nil: the middle of the part
}

// Feature is one thing built into the mould. Drawn as a circle, or as a rectangle when WidthMM and
// HeightMM are given.
type Feature struct {
	Name, Size        string // as in Spot
	At                r3.Vec
	DiameterMM        float64
	WidthMM, HeightMM float64
}

// NamedSheet is a drawing and the name of its file, without extension.
type NamedSheet struct {
	Name    string
	Drawing *Drawing
}

// NamedPicture is a picture and the name of its file, without extension.
type NamedPicture struct {
	Name  string
	Image image.Image
}

// Sheets draws the mould cut across x, cut across y, and its parting surface from above.
func (s MouldSet) Sheets(ctx context.Context) ([]NamedSheet, error) {
	b := s.Part.Bounds()
	at := r3.Scale(0.5, r3.Add(b.Min, b.Max))
	if s.Through != nil {
		at = *s.Through
	}
	pieces := make([]Piece, len(s.Pieces))
	for i, p := range s.Pieces {
		pieces[i] = Piece{p.Name, p.Mesh}
	}
	var out []NamedSheet
	for i, c := range []struct {
		name, subject string
		plane         Plane
	}{
		{"section-front", fmt.Sprintf("Section at y = %s mm, seen from the front; cut faces only", mm(at.Y)), Plane{at, r3.Vec{X: 1}, r3.Vec{Z: 1}}},
		{"section-side", fmt.Sprintf("Section at x = %s mm, seen from the right; cut faces only", mm(at.X)), Plane{at, r3.Vec{Y: 1}, r3.Vec{Z: 1}}},
	} {
		opt := SectionOptions{Paper: s.Paper, Head: s.head(c.subject, i+1), Part: s.Part}
		for _, f := range s.Features {
			if d := r3.Dot(c.plane.normal(), r3.Sub(f.At, at)); 2*abs(d) < max(f.DiameterMM, f.WidthMM, f.HeightMM) {
				opt.Labels = append(opt.Labels, Label{Words: f.words(), At: r3.Sub(f.At, r3.Scale(d, c.plane.normal()))})
			}
		}
		d, err := SectionDrawing(ctx, pieces, c.plane, opt)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", c.name, err)
		}
		out = append(out, NamedSheet{c.name, d})
	}
	d, err := s.plan()
	if err != nil {
		return nil, err
	}
	return append(out, NamedSheet{"plan", d}), nil
}

func (s MouldSet) plan() (*Drawing, error) {
	var lo, hi r3.Vec
	for i, p := range s.Pieces {
		b := p.Mesh.Bounds()
		if i == 0 {
			lo, hi = b.Min, b.Max
		}
		lo = r3.Vec{X: min(lo.X, b.Min.X), Y: min(lo.Y, b.Min.Y)}
		hi = r3.Vec{X: max(hi.X, b.Max.X), Y: max(hi.Y, b.Max.Y)}
	}
	spots := make([]Spot, len(s.Features))
	for i, f := range s.Features {
		spots[i] = Spot{f.Name, f.Size, r2.Vec{X: f.At.X, Y: f.At.Y}, f.DiameterMM, f.WidthMM, f.HeightMM}
	}
	return PlanDrawing(PlanOptions{Paper: s.Paper, Head: s.head("Parting surface, seen from above", 3), Block: rect(lo.X, lo.Y, hi.X, hi.Y),
		Parting: Outline{Name: "parting line", Loops: s.Parting}, Outlines: s.Outlines, Spots: spots})
}

func (s MouldSet) head(subject string, n int) Head {
	h := s.Head
	h.Subject, h.Sheet = subject, fmt.Sprintf("%d / 3", n)
	return h
}

func (f Feature) words() string {
	if f.Size == "" {
		return f.Name
	}
	return f.Name + " " + f.Size
}

func abs(v float64) float64 { return max(v, -v) }

// explodedGap is the gap between the pieces of the exploded picture, as a share of the mould's
// height: enough to see into the halves.
const explodedGap = 0.6

// Pictures shows the mould coming apart, and each piece from the side that its cavity is on.
func (s MouldSet) Pictures(ctx context.Context, v View) ([]NamedPicture, error) {
	all := []Leaving{{Name: "casting", Mesh: s.Part}}
	height := 0.0
	for _, p := range s.Pieces {
		lo, hi := extent(p.Mesh, r3.Vec{Z: 1})
		height = max(height, hi-lo)
		all = append(all, p)
	}
	img, err := Picture(ctx, Exploded(all, explodedGap*height), v)
	if err != nil {
		return nil, fmt.Errorf("picture of the mould: %w", err)
	}
	out := []NamedPicture{{"mould", img}}
	for i, p := range s.Pieces {
		w, err := v.withDefaults()
		if err != nil {
			return nil, err
		}
		w.ElevationDeg = max(abs(w.ElevationDeg), 35) // steep enough to see the cavity's floor
		if p.Exit.Z > 0 {
			w.ElevationDeg = -w.ElevationDeg
		}
		c := p.Colour
		if c.A == 0 {
			c = Palette[(i+1)%len(Palette)] // as in the picture of the whole mould
		}
		img, err := Picture(ctx, []Shown{{Name: p.Name, Mesh: p.Mesh, Colour: c}}, w)
		if err != nil {
			return nil, fmt.Errorf("picture of %s: %w", p.Name, err)
		}
		out = append(out, NamedPicture{fileName(p.Name), img})
	}
	return out, nil
}

// fileName is a piece's name in small letters, digits and hyphens.
func fileName(name string) string {
	var b []rune
	for _, r := range name {
		switch {
		case r >= 'A' && r <= 'Z':
			r += 'a' - 'A'
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
		default:
			r = '-'
		}
		if r != '-' || len(b) > 0 && b[len(b)-1] != '-' {
			b = append(b, r)
		}
	}
	return string(b)
}
