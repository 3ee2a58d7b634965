package fill

import (
	"errors"
	"fmt"
	"math"
	"runtime"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// Options of a cavity; the zero value is sensible.
type Options struct {
	// PitchMM is the side of a column; 0 takes one that gives about a quarter of a million columns.
	PitchMM float64
	// Show marks facets of the cavity mesh that may carry no mark; nil for none.
	Show []bool
	// SnapMM is how far from the cavity a pour point or vent may lie and still count as on it; 0
	// means half a mm: what a hand-written coordinate is off by.
	SnapMM float64
	// MinPocketMM3 is the smallest pocket worth a vent; 0 means 0.5 mm³, a bubble 1 mm wide: common
	// practice, no source.
	MinPocketMM3 float64
	// Workers bounds the goroutines; 0 means one a processor. Results do not depend on it.
	Workers int
	// Progress is told the share done of long work, 0 to 1; may be nil.
	Progress func(done float64)
}

const (
	defaultSnapMM       = 0.5
	defaultMinPocketMM3 = 0.5
)

// Cavity is the space that is filled, prepared for repeated questions. It never changes once made;
// any number of goroutines may use it.
type Cavity struct {
	mesh    *mesh.Mesh
	opt     Options
	tree    *geom.BVH
	around  []int32 // facets round vertex v are around[first[v]:first[v+1]], by number
	first   []int32
	bounds  r3.Box
	centre  r3.Vec
	sizeMM  float64 // diagonal of the bounds
	volume  float64 // mm³
	spaces  []space
	spaceOf []int32 // of each vertex

	showTree  *geom.BVH // of the show facets; nil without any
	showFacet []int32   // their numbers
}

// space is one connected piece of the cavity.
type space struct {
	volume float64
	top    r3.Vec
}

// NewCavity prepares the space inside a closed mesh whose facets face out of that space, as those of
// the casting do. Shells turned the other way are islands of mould inside it.
//
// Errors: *NoSpaceError when the mesh is empty, open, flat or inside out; *OptionError; a plain error
// for coordinates that are not finite. The mesh and the options' slices must not change afterwards.
func NewCavity(m *mesh.Mesh, opt Options) (*Cavity, error) {
	if err := opt.complete(m); err != nil {
		return nil, err
	}
	if err := sound(m); err != nil {
		return nil, err
	}
	c := &Cavity{mesh: m, opt: opt, bounds: m.Bounds(), volume: m.VolumeMM3()}
	c.sizeMM = r3.Norm(r3.Sub(c.bounds.Max, c.bounds.Min))
	c.centre = r3.Scale(0.5, r3.Add(c.bounds.Min, c.bounds.Max))
	if err := c.holdsSpace(); err != nil {
		return nil, err
	}
	c.tree = geom.NewBVH(m.Verts, m.Tris)
	c.index()
	c.indexShow()
	c.findSpaces()
	return c, nil
}

func (o *Options) complete(m *mesh.Mesh) error {
	for _, v := range []struct {
		name  string
		value float64
	}{{"the pitch in mm", o.PitchMM}, {"the snap distance in mm", o.SnapMM}, {"the smallest pocket in mm³", o.MinPocketMM3}} {
		if v.value < 0 || math.IsNaN(v.value) || math.IsInf(v.value, 0) {
			return &OptionError{v.name, v.value, "0 (for the default) or more"}
		}
	}
	if o.Show != nil && len(o.Show) != len(m.Tris) {
		return fmt.Errorf("show faces are marked for %d facets, the cavity has %d", len(o.Show), len(m.Tris))
	}
	if o.SnapMM == 0 {
		o.SnapMM = defaultSnapMM
	}
	if o.MinPocketMM3 == 0 {
		o.MinPocketMM3 = defaultMinPocketMM3
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	return nil
}

// sound checks what the methods stand on: finite corners, and every edge with two facets that run
// along it in opposite directions.
func sound(m *mesh.Mesh) error {
	if m == nil || len(m.Tris) == 0 {
		return &NoSpaceError{0, "the mesh has no facets"}
	}
	for i, v := range m.Verts {
		if !mesh.Finite(v) {
			return fmt.Errorf("cavity: vertex %d is not a finite point: %v", i, v)
		}
	}
	for i, t := range m.Tris {
		for _, v := range t {
			if int(v) >= len(m.Verts) {
				return fmt.Errorf("cavity: facet %d uses vertex %d of %d", i, v, len(m.Verts))
			}
		}
	}
	for f, n := range m.Adjacency() {
		for k, o := range n {
			if o == mesh.NoFacet {
				a, b := m.Verts[m.Tris[f][k]], m.Verts[m.Tris[f][(k+1)%3]]
				return &NoSpaceError{0, fmt.Sprintf("its surface is open at facet %d, edge %s to %s: close it first", f, place(a), place(b))}
			}
		}
	}
	return nil
}

// flatShare of the box's volume, or of the cube over its diagonal: below it the volume is rounding.
const flatShare = 1e-12

func (c *Cavity) holdsSpace() error {
	switch limit := flatShare * c.sizeMM * c.sizeMM * c.sizeMM; {
	case c.volume < -limit:
		return &NoSpaceError{c.volume, "its facets face inward: turn them over"}
	case !(c.volume > limit):
		return &NoSpaceError{c.volume, "it is flat"}
	}
	return nil
}

// index lists the facets round each vertex.
func (c *Cavity) index() {
	c.first = make([]int32, len(c.mesh.Verts)+1)
	for _, t := range c.mesh.Tris {
		for _, v := range t {
			c.first[v+1]++
		}
	}
	for v := range c.mesh.Verts {
		c.first[v+1] += c.first[v]
	}
	at := append([]int32(nil), c.first...)
	c.around = make([]int32, 3*len(c.mesh.Tris))
	for f, t := range c.mesh.Tris {
		for _, v := range t {
			c.around[at[v]] = int32(f)
			at[v]++
		}
	}
}

func (c *Cavity) indexShow() {
	var tris [][3]uint32
	for f, on := range c.opt.Show {
		if on {
			c.showFacet = append(c.showFacet, int32(f))
			tris = append(tris, c.mesh.Tris[f])
		}
	}
	if tris != nil {
		c.showTree = geom.NewBVH(c.mesh.Verts, tris)
	}
}

// findSpaces numbers the connected pieces of the cavity: the roots of its tree of peaks.
func (c *Cavity) findSpaces() {
	h := c.peaks(r3.Vec{Z: 1}, nil)
	c.spaceOf = make([]int32, len(c.mesh.Verts))
	number := map[int32]int32{}
	for _, n := range h.roots() {
		number[n] = int32(len(c.spaces))
		c.spaces = append(c.spaces, space{h.nodes[n].volume, h.nodes[n].top})
	}
	for v := range c.spaceOf {
		if c.first[v] == c.first[v+1] {
			c.spaceOf[v] = -1
			continue
		}
		c.spaceOf[v] = number[h.rootOf(int32(v))]
	}
}

// VolumeMM3 is the volume of the cavity.
func (c *Cavity) VolumeMM3() float64 { return c.volume }

// Spaces is the number of separate spaces the cavity consists of.
func (c *Cavity) Spaces() int { return len(c.spaces) }

// spot is a point of the cavity: what was asked for, moved onto the cavity where it was just outside.
type spot struct {
	at    r3.Vec
	facet int // nearest
	space int32
}

// locate puts a point into the cavity. A point at most SnapMM outside is moved to the surface.
func (c *Cavity) locate(what string, p r3.Vec) (spot, error) {
	if !mesh.Finite(p) {
		return spot{}, fmt.Errorf("%s is not a finite point: %v", what, p)
	}
	near := c.tree.Nearest(p)
	s := spot{at: p, facet: near.Facet}
	if near.Distance > 0 && !c.inside(p) {
		if near.Distance > c.opt.SnapMM {
			return spot{}, &OutsideError{what, p, near.Point, near.Distance}
		}
		s.at = near.Point
	}
	// Nothing lies between a point inside and the facet nearest to it: both belong to one space.
	s.space = c.spaceOf[c.mesh.Tris[near.Facet][0]]
	return s, nil
}

// insideRay leans a little off every axis so that it does not run along faces of parts modelled
// square to them.
var insideRay = r3.Vec{X: 0.0123456, Y: 0.0234567, Z: 1}

// inside says whether p is in the cavity: the first facet a ray meets is then seen from within.
func (c *Cavity) inside(p r3.Vec) bool {
	hit, ok := c.tree.FirstHit(p, insideRay, 0, math.Inf(1))
	return ok && r3.Dot(c.normal(hit.Facet), insideRay) > 0
}

// normal is the normal of facet f, with twice its area as length.
func (c *Cavity) normal(f int) r3.Vec {
	t := c.mesh.Facet(f)
	return r3.Cross(r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0]))
}

// showNear gives the show facet nearest to p, if one is closer than r mm.
func (c *Cavity) showNear(p r3.Vec, r float64) (facet int, near bool) {
	if c.showTree == nil {
		return 0, false
	}
	hit, ok := c.showTree.NearestWithin(p, r)
	if !ok {
		return 0, false
	}
	return int(c.showFacet[hit.Facet]), true
}

// showReachMM is the distance from a point to a show face below which the point counts as on it:
// far below any vent's radius, far above rounding of a file's coordinates.
const showReachMM = 1e-3

// errNoPour is for a fill without any pour point.
var errNoPour = errors.New("no pour point is given: name at least one place where the resin runs in")
