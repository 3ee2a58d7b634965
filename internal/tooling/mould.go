package tooling

import (
	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Mould is a finished set of mould pieces with the evidence that it works.
type Mould struct {
	Family string
	Place  Placing    // how the maker's part was put into the mould frame
	Block  r3.Box     // outer size, mould frame
	Part   *mesh.Mesh // compensated part in the mould frame: the shape of the cavity
	Cast   *mesh.Mesh // what comes out of the mould: part, sprue and vents in one
	Pieces []Piece
	// Surface is the parting surface, Line the parting line's loops on it (outer loop first), and
	// Shadow their outlines seen from above.
	Surface              *Surface
	Line                 [][]r3.Vec
	Shadow               [][]r2.Vec
	LineMM, LineOnShowMM float64

	// Cavities are the places of several cavities, in the order of their numbers, and Runner what feeds
	// them; Part then holds as many bodies, and Place is that of the first. Both nil for one cavity.
	Cavities []CavityPlace
	Runner   *Runner

	Features []Feature
	Ledger   []LedgerLine
	Opening  *opening.Comparison
	Checks   []Check
	Notes    []string // what the maker should know of a mould that passes
}

// Placing takes the maker's coordinates to the mould frame: scale, turn, turn about z, shift.
type Placing struct {
	Scale  r3.Vec // per axis of the part, over 1 for shrinkage
	Frame  geom.Frame
	TurnZ  float64 // radians
	Offset r3.Vec  // mm, added last
}

// Into takes a point of the part to the mould frame.
func (p Placing) Into(v r3.Vec) r3.Vec {
	v = p.Frame.Apply(r3.Vec{X: v.X * p.Scale.X, Y: v.Y * p.Scale.Y, Z: v.Z * p.Scale.Z})
	if p.TurnZ != 0 {
		v = turn(v, p.TurnZ)
	}
	return r3.Add(v, p.Offset)
}

// Back takes a point of the mould frame to the part's coordinates.
func (p Placing) Back(v r3.Vec) r3.Vec {
	v = r3.Sub(v, p.Offset)
	if p.TurnZ != 0 {
		v = turn(v, -p.TurnZ)
	}
	v = p.Frame.Inverse(v)
	return r3.Vec{X: v.X / p.Scale.X, Y: v.Y / p.Scale.Y, Z: v.Z / p.Scale.Z}
}

// Piece is one printable solid in the mould frame.
type Piece struct {
	Name      string
	Mesh      *mesh.Mesh
	Exit      r3.Vec  // the way it leaves
	VolumeMM3 float64 // before slivers are melted for an STL file, which changes some 1e-9 of it
}

// LedgerLine says what fills one share of the block.
type LedgerLine struct {
	Name      string
	VolumeMM3 float64
	Solid     bool // printed material, else space
}

// Check is one verified statement on a finished mould.
type Check struct {
	Name         string
	OK           bool
	Value, Limit float64
	Unit, Words  string
}

// Failed returns the checks that do not hold.
func (m *Mould) Failed() (out []Check) {
	for _, c := range m.Checks {
		if !c.OK {
			out = append(out, c)
		}
	}
	return out
}
