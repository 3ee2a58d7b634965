package tooling

import (
	"errors"
	"fmt"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrRecess is the cause when the poured face has a hollow: nothing in an open tray can shape it.
var ErrRecess = errors.New("the poured face has a hollow")

const (
	// clashMM3 is how much of a carrier may lie in the tray's material: rounding of faces that touch.
	clashMM3 = 1e-3
	// trialMM is how far a trial tray reaches round part and carrier.
	trialMM = 5.0
)

// fitCarrier finds how the carrier lies to part and tray, and refuses one that cannot be over-moulded.
func (b *trayMould) fitCarrier() error {
	if _, n := b.carrier.Components(); n != 1 {
		return fmt.Errorf("tooling: carrier: %w: its surface falls into %d closed shells; give one body without voids", ErrCarrier, n)
	}
	c, err := b.k.FromMesh(b.carrier)
	if err != nil {
		return fmt.Errorf("tooling: carrier: %w: %w", ErrCarrier, err)
	}
	if low := b.carrier.Bounds().Min.Z; low >= b.level {
		return fmt.Errorf("tooling: carrier: %w: it lies %.2f mm over the poured face, where no resin reaches it: sink it into the part by half a millimetre or more, or choose another direction",
			ErrCarrier, low-b.level)
	}
	if err := b.split(c); err != nil {
		return err
	}
	if clash, err := b.body.Intersect(c); err != nil {
		return fmt.Errorf("tooling: carrier: %w", err)
	} else if v, err := volumeOf(clash, nil); err != nil {
		return err
	} else if v > clashMM3 {
		return b.clash(clash, v)
	}
	sunk, err := volumeOf(b.poured.Intersect(c))
	if err != nil {
		return err
	}
	whole, err := volumeOf(b.poured, nil)
	if err != nil {
		return err
	}
	switch {
	case sunk <= clashMM3:
		return fmt.Errorf("tooling: carrier: %w: it touches the part nowhere; both files must share one frame, so that the carrier lies in the part where the casting holds it", ErrCarrier)
	case whole-sunk <= cavityTol*whole:
		return fmt.Errorf("tooling: carrier: %w: it fills all of the part, and nothing is left to cast: the part's file must hold the outline of casting and carrier together", ErrCarrier)
	}
	b.out.Carried = &Carried{Tabs: b.opt.Tabs}
	return nil
}

// split makes a trial tray round the part, and tells the tray's body from hollows of the poured face, which
// only a carrier can fill.
func (b *trayMould) split(carrier *solid.Solid) error {
	box := b.mould.Part.Bounds()
	if b.carrier != nil {
		c := b.carrier.Bounds()
		box.Min = r3.Vec{X: min(box.Min.X, c.Min.X), Y: min(box.Min.Y, c.Min.Y), Z: min(box.Min.Z, c.Min.Z)}
		box.Max = r3.Vec{X: max(box.Max.X, c.Max.X), Y: max(box.Max.Y, c.Max.Y)}
	}
	block, err := b.k.Box(r3.Box{Min: r3.Vec{X: box.Min.X - trialMM, Y: box.Min.Y - trialMM, Z: box.Min.Z - trialMM},
		Max: r3.Vec{X: box.Max.X + trialMM, Y: box.Max.Y + trialMM, Z: b.level}})
	if err != nil {
		return fmt.Errorf("tooling: tray: %w", err)
	}
	raw, err := block.Subtract(b.part)
	if err != nil {
		return fmt.Errorf("tooling: tray: %w", err)
	}
	bodies, err := raw.Parts()
	if err != nil {
		return fmt.Errorf("tooling: tray: %w", err)
	}
	b.poured = b.part
	var hollows []*solid.Solid
	for _, s := range bodies {
		at, err := s.Bounds()
		if err != nil {
			return fmt.Errorf("tooling: tray: %w", err)
		}
		if at.Min.Z < box.Min.Z-trialMM/2 {
			b.body = s
		} else {
			hollows = append(hollows, s)
		}
	}
	if len(hollows) == 0 {
		return nil
	}
	left, err := b.k.Union(hollows...)
	if err != nil {
		return fmt.Errorf("tooling: tray: %w", err)
	}
	if carrier != nil {
		if left, err = left.Subtract(carrier); err != nil {
			return fmt.Errorf("tooling: tray: %w", err)
		}
	}
	v, err := volumeOf(left, nil)
	if err != nil {
		return err
	}
	if v > cavityTol*b.mould.Part.VolumeMM3() {
		at, err := left.Bounds()
		if err != nil {
			return fmt.Errorf("tooling: tray: %w", err)
		}
		middle := r3.Scale(0.5, r3.Add(at.Min, at.Max))
		what := "nothing in an open tray shapes it: choose another direction, a carrier that fills it, or a mould that closes"
		if carrier != nil {
			what = "the carrier does not fill it: widen the carrier or fill the part there"
		}
		return fmt.Errorf("tooling: tray: %w of %.0f mm³, %.2f mm deep, at %s of the part's file; %s", ErrRecess, v, b.level-at.Min.Z, placeWords(b.mould.Place.Back(middle)), what)
	}
	if b.poured, err = block.Subtract(b.body); err != nil {
		return fmt.Errorf("tooling: tray: %w", err)
	}
	return nil
}

// clash says where a carrier runs into the tray.
func (b *trayMould) clash(s *solid.Solid, mm3 float64) error {
	at, err := s.Bounds()
	if err != nil {
		return fmt.Errorf("tooling: carrier: %w", err)
	}
	middle := b.mould.Place.Back(r3.Scale(0.5, r3.Add(at.Min, at.Max)))
	if under := b.mould.Part.Bounds().Min.Z - at.Min.Z; under > flatFaceMM {
		return fmt.Errorf("tooling: carrier: %w: it stands %.2f mm out under the part, into the tray's floor, near %s of the part's file: shorten or lift it, or pour the opposite face", ErrCarrier, under, placeWords(middle))
	}
	return fmt.Errorf("tooling: carrier: %w: %.2f mm³ of it under the poured face lie outside the part, in the tray's wall, near %s of the part's file: make the carrier smaller there or the part larger",
		ErrCarrier, mm3, placeWords(middle))
}
