package tooling

import (
	"fmt"

	"mouldwright/internal/solid"
)

// fittings are what holds a block together, keeps it in register and lets it be prised apart: bolts, keys
// and pry slots, at the places that a layout found. Moulds of every family cut the same.
type fittings struct {
	mould          *Mould // gets the features and the checks
	layout         *Layout
	bolt           *Bolt        // nil where the layout has none
	field          *HeightField // the parting surface
	outline        Outline      // what a pry slot stays clear of, in plan
	keyClearanceMM float64
	key            KeyOptions // what else is asked of the keys
	prySlots       int
}

// shares makes the tools; around is what lies over and under the parting surface.
func (h fittings) shares(k *solid.Kernel, around RawHalves) ([]share, error) {
	bolts, err := h.bolts(k)
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	keys, err := h.keys(k)
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	pry, err := h.pry(k, around)
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	return []share{bolts, keys, pry}, nil
}

func (h fittings) bolts(k *solid.Kernel) (share, error) {
	s := share{name: "bolt holes and nut pockets"}
	m := h.mould
	for i, at := range h.layout.Bolts {
		t, err := h.bolt.Tools(k, at, m.Block)
		if err != nil {
			return s, err
		}
		s.tools = append(s.tools, t...)
		c, err := h.bolt.Walls(at, m.Block, h.field)
		if err != nil {
			return s, err
		}
		m.Checks = append(m.Checks, c)
		m.Features = append(m.Features, h.bolt.Feature(fmt.Sprintf("B%d", i+1), at, m.Block))
	}
	return s, nil
}

// keysShare names what is left between the keys and their hollows.
const keysShare = "clearance round the keys"

func (h fittings) keys(k *solid.Kernel) (share, error) {
	s := share{name: keysShare}
	opt := h.key
	opt.ClearanceMM = h.keyClearanceMM
	var keys []Key
	for i, spot := range h.layout.Keys {
		key, err := NewKey(spot.At, spot.Odd, h.mould.Block, h.field, opt)
		if err != nil {
			return s, err
		}
		t, err := key.Tools(k)
		if err != nil {
			return s, err
		}
		s.tools = append(s.tools, t...)
		keys = append(keys, key)
		h.mould.Features = append(h.mould.Features, key.Feature(fmt.Sprintf("K%d", i+1)))
	}
	if len(keys) > 0 {
		h.mould.Checks = append(h.mould.Checks, KeysCloseOneWay(keys, true, h.keyClearanceMM))
	}
	return s, nil
}

func (h fittings) pry(k *solid.Kernel, around RawHalves) (share, error) {
	s := share{name: "pry slots"}
	for i, spot := range h.layout.Pry {
		p, err := NewPry(spot.At, spot.Inward, h.outline, PryOptions{PerBlock: h.prySlots})
		if err != nil {
			return s, err
		}
		t, err := p.Tools(k, around.Lower, around.Upper)
		if err != nil {
			return s, err
		}
		s.tools = append(s.tools, t...)
		z, _ := h.field.At(spot.At)
		h.mould.Features = append(h.mould.Features, p.Feature(fmt.Sprintf("P%d", i+1), z))
	}
	return s, nil
}
