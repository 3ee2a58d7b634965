package tooling

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// KeyOptions sizes the keys that hold the halves in register. The zero value is a 5 mm tall cone of 4 mm
// radius where it leaves the parting surface, 8° of draft, 0.15 mm clearance.
type KeyOptions struct {
	RadiusMM     float64 // radius at the lowest place of the parting surface under the key; default 4
	HeightMM     float64 // how far the tip rises over the highest place of the parting surface; default 5
	DraftDeg     float64 // default 8
	ClearanceMM  float64 // on the radius and over the tip; default 0.15
	RootMM       float64 // how far the male reaches into the lower half, so that it is one with it; default 2
	OddRadiusMM  float64 // the one key that differs is larger by this; default 1.5
	LeastTipMM   float64 // least radius of the tip; default 1
	LeastCoverMM float64 // least upper half left over the female's tip; default 3
}

func (o KeyOptions) withDefaults() KeyOptions {
	setDefault(&o.RadiusMM, 4)
	setDefault(&o.HeightMM, 5)
	setDefault(&o.DraftDeg, 8)
	setDefault(&o.ClearanceMM, 0.15)
	setDefault(&o.RootMM, 2)
	setDefault(&o.OddRadiusMM, 1.5)
	setDefault(&o.LeastTipMM, 1)
	setDefault(&o.LeastCoverMM, 3)
	return o
}

// Key is a cone frustum that stands on the lower half and enters the upper. Both cones narrow upward,
// so either half leaves along z whatever the slope of the parting surface.
type Key struct {
	At                    r2.Vec
	BaseZ, TipZ           float64 // of the male
	BaseRadius, TipRadius float64 // of the male, mm
	ClearanceMM           float64
	CoverMM               float64 // upper half left over the female's tip
	RiseMM                float64 // tip over the highest parting surface
	DraftDeg              float64
}

// ErrKey is the cause when a key cannot be made as asked.
var ErrKey = errors.New("key does not fit")

// NewKey fits a key to the parting surface at a place; odd makes it the larger one.
func NewKey(at r2.Vec, odd bool, block r3.Box, surface *HeightField, opt KeyOptions) (Key, error) {
	o := opt.withDefaults()
	if err := finite("key", map[string]float64{"radius": o.RadiusMM, "height": o.HeightMM, "draft": o.DraftDeg,
		"clearance": o.ClearanceMM, "root": o.RootMM, "odd radius": o.OddRadiusMM}); err != nil {
		return Key{}, err
	}
	if o.DraftDeg > 45 {
		return Key{}, fmt.Errorf("key: a draft of %g° no longer locates the halves: use 3° to 20°: %w", o.DraftDeg, ErrKey)
	}
	slope := math.Tan(o.DraftDeg * math.Pi / 180)
	r := o.RadiusMM
	if odd {
		r += o.OddRadiusMM
	}
	// The root widens the base a little below the surface; look under all of that.
	base := r + o.RootMM*slope
	lo, hi, whole := surface.Range(around(at, base+o.ClearanceMM, circleSegments(base)))
	if !whole {
		return Key{}, fmt.Errorf("key at (%.1f, %.1f): the parting surface does not run under all of it: move it clear of the part and inside the block: %w", at.X, at.Y, ErrKey)
	}
	k := Key{At: at, BaseZ: lo - o.RootMM, TipZ: hi + o.HeightMM, BaseRadius: base, ClearanceMM: o.ClearanceMM,
		RiseMM: o.HeightMM, DraftDeg: o.DraftDeg}
	k.TipRadius = base - (k.TipZ-k.BaseZ)*slope
	k.CoverMM = block.Max.Z - (k.TipZ + o.ClearanceMM)
	switch {
	case short(k.TipRadius, o.LeastTipMM):
		return Key{}, fmt.Errorf("key at (%.1f, %.1f): the parting surface climbs %.1f mm under it, so a %.1f° cone ends in a %.2f mm tip (%.2f mm is the least): "+
			"use a larger key or less draft, or move it: %w", at.X, at.Y, hi-lo, o.DraftDeg, k.TipRadius, o.LeastTipMM, ErrKey)
	case short(k.BaseZ, block.Min.Z):
		return Key{}, fmt.Errorf("key at (%.1f, %.1f): its root reaches z = %.1f mm, below the block's bottom at %.1f mm: make the lower half thicker: %w", at.X, at.Y, k.BaseZ, block.Min.Z, ErrKey)
	case short(k.CoverMM, o.LeastCoverMM):
		got, want := lengths(k.CoverMM, o.LeastCoverMM)
		return Key{}, fmt.Errorf("key at (%.1f, %.1f): %s mm of the upper half is left over its tip, %s mm is wanted: make the upper half thicker or the key lower: %w",
			at.X, at.Y, got, want, ErrKey)
	}
	return k, nil
}

// segments is shared by male and female, so that their flats face each other and the clearance is even.
func (k Key) segments() int { return circleSegments(k.BaseRadius) }

// Tools makes the male, added to the lower half, and the female, cut from the upper. The female's cone
// is the male's moved out by the clearance, run on to the clearance above its tip; it starts at the
// male's root, so it takes the male out of the upper half wherever the parting surface lies.
func (k Key) Tools(kr *solid.Kernel) ([]Tool, error) {
	n := k.segments()
	bottom := r3.Vec{X: k.At.X, Y: k.At.Y, Z: k.BaseZ}
	h := k.TipZ - k.BaseZ
	male, err := kr.Frustum(bottom, r3.Vec{Z: h}, k.BaseRadius, k.TipRadius, n)
	if err != nil {
		return nil, fmt.Errorf("key at (%.1f, %.1f): %w", k.At.X, k.At.Y, err)
	}
	slope := (k.BaseRadius - k.TipRadius) / h
	female, err := kr.Frustum(bottom, r3.Vec{Z: h + k.ClearanceMM}, k.BaseRadius+k.ClearanceMM,
		k.TipRadius+k.ClearanceMM-k.ClearanceMM*slope, n)
	if err != nil {
		return nil, fmt.Errorf("key at (%.1f, %.1f): %w", k.At.X, k.At.Y, err)
	}
	return []Tool{{Half: Lower, Add: true, Solid: male}, {Half: Upper, Solid: female}}, nil
}

// Feature describes the key for drawings and the ledger.
func (k Key) Feature(name string) Feature {
	return Feature{Name: name, Kind: "key", Piece: "both", At: r3.Vec{X: k.At.X, Y: k.At.Y, Z: k.TipZ},
		SizesMM: []Size{{"base diameter", 2 * k.BaseRadius}, {"tip diameter", 2 * k.TipRadius}, {"rise", k.RiseMM}, {"clearance", k.ClearanceMM}},
		Words:   fmt.Sprintf("cone key, %.1f mm to %.1f mm diameter, %.1f° draft, %.2f mm clearance", 2*k.BaseRadius, 2*k.TipRadius, k.DraftDeg, k.ClearanceMM)}
}
