package tooling

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// SprueOptions sizes a sprue or a vent that goes straight up through the upper half. The zero value is a
// sprue of 6 mm diameter at the top; see VentOptions.
type SprueOptions struct {
	TopDiameterMM  float64 // where it leaves the block; default 6
	DraftDeg       float64 // widens downward by this on each side; default 1.5
	StandInMM      float64 // how far the cutter runs into the cavity past its lowest place under it; default 0.5
	LeastSpacingMM float64 // kept from the part's outline in plan; default 0.2
}

// VentOptions are the defaults of a vent: 1.2 mm at the top, which a fine wire still clears, 1° draft.
func VentOptions() SprueOptions { return SprueOptions{TopDiameterMM: 1.2, DraftDeg: 1} }

func (o SprueOptions) withDefaults() SprueOptions {
	setDefault(&o.TopDiameterMM, 6)
	setDefault(&o.DraftDeg, 1.5)
	setDefault(&o.StandInMM, 0.5)
	setDefault(&o.LeastSpacingMM, 0.2)
	return o
}

// Sprue is an upright cone through the upper half, narrower at the top: the upper half leaves upward
// while the cured sprue stays on the casting, so anything wider above than below would lock.
type Sprue struct {
	At                      r2.Vec
	TopZ, BottomZ           float64
	TopRadius, BottomRadius float64
	DraftDeg                float64
}

// ErrSprue is the cause when a sprue or a vent cannot stand where asked.
var ErrSprue = errors.New("sprue does not fit")

// sprueRounds bounds the search for the cone's bottom; each round shrinks the change by tan(draft) times
// the slope of the part, so a slope that needs more is close to upright.
const sprueRounds = 60

// NewSprue sets a sprue at a place in plan. top is the part's upper surface (the facets that the upper
// half makes), z1 the top of the block. The cone's bottom lies below the whole of that surface under it,
// so it breaks through everywhere; only the upper half is cut, so the depth harms nothing.
func NewSprue(at r2.Vec, z1 float64, top *HeightField, opt SprueOptions) (Sprue, error) {
	o := opt.withDefaults()
	if err := finite("sprue", map[string]float64{"top diameter": o.TopDiameterMM, "draft": o.DraftDeg, "stand-in": o.StandInMM, "spacing": o.LeastSpacingMM}); err != nil {
		return Sprue{}, err
	}
	if o.DraftDeg > 30 {
		return Sprue{}, fmt.Errorf("sprue: a draft of %g° is out of range: use 1° to 5°: %w", o.DraftDeg, ErrSprue)
	}
	z, ok := top.At(at)
	if !ok {
		return Sprue{}, fmt.Errorf("sprue at (%.1f, %.1f): there is no part under it: move it over the part: %w", at.X, at.Y, ErrSprue)
	}
	s := Sprue{At: at, TopZ: z1, BottomZ: z, TopRadius: o.TopDiameterMM / 2, DraftDeg: o.DraftDeg}
	for range sprueRounds {
		s.BottomRadius = s.radiusAt(s.BottomZ)
		lo, _, whole := top.Range(ring(at, s.BottomRadius+o.LeastSpacingMM, circleSegments(s.BottomRadius)))
		if !whole {
			return Sprue{}, fmt.Errorf("sprue at (%.1f, %.1f): its foot, %.1f mm across, stands over the edge of the part: "+
				"move it inward or make it thinner: %w", at.X, at.Y, 2*s.BottomRadius, ErrSprue)
		}
		if lo-o.StandInMM >= s.BottomZ-1e-9 {
			if lo >= z1 {
				return Sprue{}, fmt.Errorf("sprue at (%.1f, %.1f): the part reaches the top of the block: %w", at.X, at.Y, ErrSprue)
			}
			return s, nil
		}
		s.BottomZ = lo - o.StandInMM
	}
	return Sprue{}, fmt.Errorf("sprue at (%.1f, %.1f): the part is too steep there for it to break through: move it to a flatter place: %w", at.X, at.Y, ErrSprue)
}

func (s Sprue) radiusAt(z float64) float64 {
	return s.TopRadius + (s.TopZ-z)*math.Tan(s.DraftDeg*math.Pi/180)
}

// Tools makes the cutter, for the upper half alone.
func (s Sprue) Tools(k *solid.Kernel) ([]Tool, error) {
	over := s.radiusAt(s.TopZ + overshootMM)
	if over <= 0 {
		return nil, fmt.Errorf("sprue at (%.1f, %.1f): %.2f mm across at the top is too thin: %w", s.At.X, s.At.Y, 2*s.TopRadius, ErrSprue)
	}
	f, err := k.Frustum(r3.Vec{X: s.At.X, Y: s.At.Y, Z: s.BottomZ}, r3.Vec{Z: s.TopZ + overshootMM - s.BottomZ},
		s.BottomRadius, over, circleSegments(s.BottomRadius))
	if err != nil {
		return nil, fmt.Errorf("sprue at (%.1f, %.1f): %w", s.At.X, s.At.Y, err)
	}
	return []Tool{{Half: Upper, Solid: f}}, nil
}

// HeldMM3 is what a cut takes out of its half: the liquid that a sprue, a vent or a gutter holds.
func HeldMM3(half *solid.Solid, t Tool) (float64, error) {
	cut, err := half.Intersect(t.Solid)
	if err != nil {
		return 0, err
	}
	return cut.VolumeMM3()
}

// AvoidsShow checks that the sprue's foot touches no show facet: a sprue leaves a mark that must be
// trimmed. show is per facet of the mesh behind top. The words suit a vent as well, whose check has another name.
func (s Sprue) AvoidsShow(top *HeightField, show []bool) Check {
	return avoidsShow(fmt.Sprintf("its foot at (%.1f, %.1f)", s.At.X, s.At.Y), top, show,
		ring(s.At, s.BottomRadius, circleSegments(s.BottomRadius)))
}

func avoidsShow(what string, top *HeightField, show []bool, foot []r2.Vec) Check {
	c := Check{Name: "sprue off the show faces", OK: true, Unit: "facets", Words: what + " touches no show face"}
	first := int32(-1)
	for _, f := range top.Facets(foot) {
		if int(f) < len(show) && show[f] {
			c.OK = false
			c.Value++
			if first < 0 || f < first {
				first = f
			}
		}
	}
	if !c.OK {
		c.Words = fmt.Sprintf("%s touches %.0f show facets (the first is %d): move it", what, c.Value, first)
	}
	return c
}

// Feature describes the sprue, or vent by kind, for drawings and the ledger.
func (s Sprue) Feature(name, kind string, heldMM3 float64) Feature {
	return Feature{Name: name, Kind: kind, Piece: Upper.String(), At: r3.Vec{X: s.At.X, Y: s.At.Y, Z: s.TopZ}, VolumeMM3: heldMM3,
		SizesMM: []Size{{"top diameter", 2 * s.TopRadius}, {"bottom diameter", 2 * s.BottomRadius}, {"length", s.TopZ - s.BottomZ}},
		Words:   fmt.Sprintf("%s, %.1f mm at the top, %.1f mm at the cavity, holds %.2f mL", kind, 2*s.TopRadius, 2*s.BottomRadius, heldMM3/1000)}
}
