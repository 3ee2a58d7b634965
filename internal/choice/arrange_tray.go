package choice

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/opening"
)

const (
	// trayTopShare: the open face should be most of what is seen from above.
	trayTopShare = 0.5
	// overhangShare is what a mesh may have of faces that look up by mistake.
	overhangShare = 1e-4
	// trayFaces is how many of the largest flat faces are tried as the poured one.
	trayFaces = 12
	// flatSine: facets whose normals differ by less than 0.06° lie in one flat face.
	flatSine = 1e-3
)

// arrangeTray looks for the flat face that a tray can be filled to. Where all other facets face down or
// stand, every upright line crosses the surface twice, so the casting leaves upward whatever it is.
func arrangeTray(ctx context.Context, s *stance, opt *Options) (*arrangement, error) {
	var best *arrangement
	for _, d := range s.flatFaces() {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if a := s.facing(d).tray(opt); best == nil || len(a.against) < len(best.against) {
			best = a
		}
	}
	if best == nil {
		best = s.tray(opt)
	}
	return best, nil
}

// flatFaces lists the normals of the largest flat faces, largest first.
func (s *stance) flatFaces() []r3.Vec {
	type face struct {
		n    r3.Vec
		area float64
	}
	order := make([]int, 0, len(s.normal))
	for f := range s.normal {
		if s.area[f] > 0 {
			order = append(order, f)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(s.area[b], s.area[a]) })
	var faces []face
	for _, f := range order {
		k := slices.IndexFunc(faces, func(x face) bool { return r3.Norm(r3.Sub(x.n, s.normal[f])) < flatSine })
		switch {
		case k >= 0:
			faces[k].area += s.area[f]
		case len(faces) < 64:
			faces = append(faces, face{s.normal[f], s.area[f]})
		}
	}
	slices.SortStableFunc(faces, func(a, b face) int { return cmp.Compare(b.area, a.area) })
	var out []r3.Vec
	for _, f := range faces[:min(len(faces), trayFaces)] {
		out = append(out, f.n)
	}
	return out
}

// facing is the stance turned so that d is up, for what does not need an analysis along d.
func (s *stance) facing(d r3.Vec) *stance {
	t := *s
	t.d = d
	t.frame = geom.FrameTo(d)
	t.box = s.part.Map(t.frame.Apply).Bounds()
	return &t
}

func (s *stance) tray(opt *Options) *arrangement {
	a := &arrangement{shapes: make([]int, len(s.part.Tris)), turned: s}
	a.pieces = []opening.ReleaseBody{{Name: "the tray", Exit: r3.Scale(-1, s.d)}}
	var top, over, show, shadow float64
	slack := 1e-4 * (s.box.Max.Z - s.box.Min.Z)
	for f := range s.part.Tris {
		shadow += s.area[f] * math.Max(0, -s.up(f))
		switch z := s.topMM() - s.heightMM(f); {
		case s.up(f) > 1-flatSine*flatSine && z <= slack:
			a.shapes[f] = -1
			top += s.area[f]
			if s.shown(int32(f)) {
				show += s.area[f]
			}
		case s.up(f) > wallSine:
			over += s.area[f]
		}
	}
	if top < trayTopShare*shadow {
		a.against = append(a.against, fmt.Sprintf("no flat face to pour to: the highest one is %.0f of the %.0f mm² seen from above", top, shadow))
	}
	if over > overhangShare*shadow {
		a.against = append(a.against, fmt.Sprintf("%.0f mm² besides the poured face look up: the tray would overhang them and keep air", over))
	}
	if show > 0 {
		a.against = append(a.against, fmt.Sprintf("the poured face is a show face (%.0f mm²), and would be left as the resin levels", show))
	}
	a.lineMM, a.showMM = s.border(a.shapes)
	if opt.Carrier != nil {
		a.notes = append(a.notes, "the carrier hangs by its tabs on the tray's rim, level with the resin")
	}
	return a
}
