package tooling

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// channel is a way from the outside of the block into the cavity, or a stretch of it: a sprue or a vent,
// upright or along the parting surface, the runner between cavities, and a gate into one.
type channel interface {
	// cutter is cut from one half; aprons are what lies over and under the parting surface.
	cutter(k *solid.Kernel, aprons RawHalves) (Tool, error)
	feature(name, kind string, heldMM3 float64) Feature
	offShow(b *twoHalves) Check
	// opensAt says whether a place on the channel's wall belongs to it.
	opensAt(p r3.Vec) bool
}

// feed is how the mould is filled: the sprue, the ways out for the air, and of several cavities either the
// runner between them with a gate into each, or a sprue of its own for each further one.
type feed struct {
	sprue  channel
	vents  []channel
	more   []channel // sprues
	runner []channel
}

func (f feed) all() []channel {
	return append(append(append([]channel{f.sprue}, f.vents...), f.more...), f.runner...)
}

func (s Sprue) cutter(k *solid.Kernel, _ RawHalves) (Tool, error) {
	t, err := s.Tools(k)
	if err != nil {
		return Tool{}, err
	}
	return t[0], nil
}

func (s Sprue) feature(name, kind string, held float64) Feature { return s.Feature(name, kind, held) }

func (s Sprue) offShow(b *twoHalves) Check { return s.AvoidsShow(b.top, b.showOnTop()) }

func (s Sprue) opensAt(p r3.Vec) bool {
	return r2.Norm(r2.Sub(r2.Vec{X: p.X, Y: p.Y}, s.At)) <= s.radiusAt(p.Z)+holeSlackMM
}

// sprueSizes are the diameters tried when the one asked for finds no place: a 2 mm sprue is the least
// that thin resins still run through by their own weight. Common practice, no source.
var sprueSizes = []float64{3, 2}

// sizes lists the asked diameter and the smaller ones after it.
func sizes(askedMM float64) []float64 {
	out := []float64{askedMM}
	for _, d := range sprueSizes {
		if d < askedMM {
			out = append(out, d)
		}
	}
	return out
}

// planFeed finds places for the sprue and the vents: upright through the upper half if that goes, with a
// smaller diameter if it must be; else along the parting surface from the outside.
func (b *twoHalves) planFeed() error {
	asked := b.opt.SprueMM
	f, topErr := b.uprightFeed()
	if topErr == nil {
		if got := 2 * f.sprue.(Sprue).TopRadius; got < asked {
			b.note("no place on the upper faces takes a sprue of %.1f mm: this one is %.1f mm across at the top, with %.0f %% of the asked cross-section, so the mould fills slower",
				asked, got, 100*got*got/asked/asked)
		}
		b.feed = f
		return nil
	}
	f, sideErr := b.sideFeed()
	if sideErr != nil {
		return fmt.Errorf("tooling: %w; along the parting surface: %w", topErr, sideErr)
	}
	s := f.sprue.(*sideChannel)
	b.note("no upright sprue finds a place (%v): a sprue of %.1f × %.1f mm runs in along the parting surface from the %s side instead; pour with the mould standing on its %s side",
		topErr, s.options.WidthMM, s.options.HeightMM, s.side.name, opposite[s.side.name])
	if n := len(b.opt.VentsAt); n > 0 {
		b.note("vents asked for by place: %d, none of them there: beside a sprue along the parting surface the vents run along it too", n)
	}
	b.feed = f
	return nil
}

var opposite = map[string]string{"front": "back", "back": "front", "left": "right", "right": "left"}

func (b *twoHalves) note(format string, a ...any) {
	b.mould.Notes = append(b.mould.Notes, fmt.Sprintf(format, a...))
}

// noteVents says how many of the vents asked for found a place.
func (b *twoHalves) noteVents(found int, why error) {
	asked := max(0, b.opt.Vents)
	if found >= asked {
		return
	}
	words := fmt.Sprintf("%d of the %d vents asked for found a place", found, asked)
	if why != nil {
		words += fmt.Sprintf(" (the next one: %v)", why)
	}
	b.note("%s", words+": tap and tilt the mould while it fills")
}

// wetFeatures are the sprue, the vents and the runner: what cures in them stays on the casting.
func (b *twoHalves) wetFeatures(k *solid.Kernel, raw [2]*solid.Solid, aprons RawHalves) ([]share, error) {
	sprue, vents, runner := share{name: "sprue", wet: true}, share{name: "vents", wet: true}, share{name: "runner", wet: true}
	for i, c := range b.feed.all() {
		t, err := c.cutter(k, aprons)
		if err != nil {
			return nil, fmt.Errorf("tooling: %w", err)
		}
		room, err := raw[t.Half].Intersect(t.Solid)
		if err == nil && i > len(b.feed.vents) && t.Half == Upper { // a gate over the runner may begin under the sprue
			room, err = room.Subtract(sprue.held...)
		}
		if err != nil {
			return nil, fmt.Errorf("tooling: %w", err)
		}
		held, err := volumeOf(room, nil)
		if err != nil {
			return nil, err
		}
		to, name, kind := &sprue, "S1", "sprue"
		check := c.offShow(b)
		if i > 0 {
			to, name, kind = &vents, fmt.Sprintf("V%d", i), "vent"
			check.Name = "vent off the show faces"
		}
		switch g := i - 1 - len(b.feed.vents) - len(b.feed.more); {
		case g < 0 && i > len(b.feed.vents):
			to, name, kind = &sprue, fmt.Sprintf("S%d", i-len(b.feed.vents)+1), "sprue"
			check.Name = "sprue off the show faces"
		case g == 0:
			to, name, kind = &runner, "R1", "runner"
			check.Name = "runner clear of the cavities"
		case g > 0:
			to, name, kind = &runner, fmt.Sprintf("C%d", g), "gate"
			check.Name = "gate off the show faces"
		}
		to.tools, to.held = append(to.tools, t), append(to.held, room)
		b.mould.Features = append(b.mould.Features, c.feature(name, kind, held))
		b.mould.Checks = append(b.mould.Checks, check)
	}
	if runner.tools == nil {
		return []share{sprue, vents}, nil
	}
	return []share{sprue, vents, runner}, nil
}

func (b *twoHalves) showOnTop() []bool { return b.showOn(b.topSource) }

func (b *twoHalves) showOn(source []int32) []bool {
	if b.opt.Show == nil {
		return nil
	}
	out := make([]bool, len(source))
	for i, f := range source {
		out[i] = b.opt.Show[f]
	}
	return out
}
