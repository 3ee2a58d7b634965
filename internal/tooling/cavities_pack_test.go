package tooling

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// discOutline is a circle of radius r about the axis, drawn inside it.
func discOutline(r float64) Outline { return Outline{ring(r2.Vec{}, r, 96)} }

// leastGap is the least distance between any two of the cavities, by brute force over their edges.
func leastGap(o Outline, places []CavityPlace) float64 {
	least := math.Inf(1)
	at := func(c CavityPlace) Outline {
		var out Outline
		for _, l := range o {
			t := quarterTurned(l, c.Quarters)
			for i := range t {
				t[i] = r2.Add(t[i], c.At)
			}
			out = append(out, t)
		}
		return out
	}
	for i := range places {
		for j := range i {
			a, b := at(places[i]), at(places[j])
			for _, l := range a {
				for k := range l {
					least = min(least, gapToOutline(shape{core: []r2.Vec{l[k], l[(k+1)%len(l)]}}, b))
				}
			}
		}
	}
	return least
}

// Rectangles on a grid: the block's size is a sum. Discs in rows that nest: the rows are √3/2 apart.
func TestPackingClosedForms(t *testing.T) {
	w, d := 30.0, 20.0
	box := Outline{{{X: -w / 2, Y: -d / 2}, {X: w / 2, Y: -d / 2}, {X: w / 2, Y: d / 2}, {X: -w / 2, Y: d / 2}}}
	all, err := PackCavities(box, PackOptions{Cavities: 4, GapMM: 8, WallMM: 12})
	if err != nil {
		t.Fatal(err)
	}
	// 2 × 2: (2w + g + 2·wall)(2d + g + 2·wall) is less than 1 × 4 either way round.
	const slack = 0.2 // of the steps and the stray of simplified outlines, on either side
	s := r2.Sub(all[0].Box.Max, all[0].Box.Min)
	if math.Abs(s.X-(2*w+8)) > slack || math.Abs(s.Y-(2*d+8)) > slack {
		t.Errorf("%.2f × %.2f mm, want %.0f × %.0f", s.X, s.Y, 2*w+8, 2*d+8)
	}
	// Three discs: the third in the hollow of the first two beats a row of three only if it nests.
	r, g := 20.0, 8.0
	all, err = PackCavities(discOutline(r), PackOptions{Cavities: 3, GapMM: g, WallMM: 5})
	if err != nil {
		t.Fatal(err)
	}
	s = r2.Sub(all[0].Box.Max, all[0].Box.Min)
	pitch := 2*r + g
	for _, p := range all {
		if p.Words != "3 in 2 rows" {
			continue
		}
		s = r2.Sub(p.Box.Max, p.Box.Min)
		if math.Abs(s.X-(pitch+2*r)) > slack || math.Abs(s.Y-(pitch*math.Sqrt(3)/2+2*r)) > slack {
			t.Errorf("three discs in two rows: %.2f × %.2f mm, want %.2f × %.2f", s.X, s.Y, pitch+2*r, pitch*math.Sqrt(3)/2+2*r)
		}
	}
	// Right-angled triangles, every other one turned by half, make up rectangles.
	tri := Outline{{{X: -15, Y: -10}, {X: 15, Y: -10}, {X: -15, Y: 10}}}
	all, err = PackCavities(tri, PackOptions{Cavities: 2, GapMM: 4, WallMM: 5})
	if err != nil {
		t.Fatal(err)
	}
	boxes := (2*30.0 + 4 + 10) * (20 + 10)
	if a := all[0].blockMM2(5); a > 0.8*boxes {
		t.Errorf("two triangles take %.0f mm², boxes side by side %.0f: they do not nest", a, boxes)
	}
}

// A runner's channel is kept free, and the two rows on it are each other turned by half about the sprue.
func TestChannelBetweenRows(t *testing.T) {
	for _, n := range []int{2, 3, 4, 5, 8, 12} {
		all, err := PackCavities(discOutline(12), PackOptions{Cavities: n, GapMM: 8, WallMM: 12, ChannelMM: 12})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range all {
			if len(p.Places) != n {
				t.Fatalf("%d places for %d", len(p.Places), n)
			}
			seen := 0
			for _, c := range p.Channels {
				for i, k := range c.Cavities {
					seen++
					way := r2.Dot(r2.Sub(p.Places[k].At, c.Mid), c.Inward[i])
					if way < 12+6-1e-9 {
						t.Errorf("%s: cavity %d comes within %.2f mm of the channel's middle", p.Words, k, way-12)
					}
				}
			}
			if seen != n {
				t.Errorf("%s: %d of %d cavities are on a channel", p.Words, seen, n)
			}
			if n%2 == 0 && len(p.Channels) == 1 {
				for i := range n / 2 {
					a, b := p.Places[i], p.Places[n/2+i]
					if r2.Norm(r2.Add(a.At, b.At)) > 1e-9 || (a.Quarters+2)%4 != b.Quarters {
						t.Errorf("%s: %v and %v are not each other turned by half", p.Words, a, b)
					}
				}
			}
		}
	}
}

// Whatever the outline, no two cavities come nearer than asked, all have their place, and a mirrored or
// turned outline takes as large a block, but for what turning copies has to save.
func TestPackingKeepsTheGap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		corners := rapid.IntRange(3, 9).Draw(t, "corners")
		var loop []r2.Vec
		for i := range corners {
			a := 2 * math.Pi * float64(i) / float64(corners)
			r := rapid.Float64Range(4, 25).Draw(t, "r")
			loop = append(loop, r2.Vec{X: r * math.Cos(a), Y: r * math.Sin(a)})
		}
		n := rapid.IntRange(1, 7).Draw(t, "n")
		o := PackOptions{Cavities: n, GapMM: rapid.Float64Range(1, 10).Draw(t, "gap"), WallMM: 8}
		if n > 1 && rapid.Bool().Draw(t, "runner") {
			o.ChannelMM = 10
		}
		all, err := PackCavities(Outline{loop}, o)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range all {
			if got := leastGap(Outline{loop}, p.Places); got < o.GapMM-1e-9 {
				t.Fatalf("%s: %.4f mm apart, %.4f asked", p.Words, got, o.GapMM)
			}
		}
		turned, err := PackCavities(Outline{quarterTurned(loop, 1)}, o)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := all[0].blockMM2(8), turned[0].blockMM2(8); math.Abs(a-b) > (turnCost-1+1e-3)*max(a, b)+1 {
			t.Fatalf("turned by a quarter the block is %.1f mm², not %.1f", b, a)
		}
	})
}

func TestPackingFitsThePrinterOrSaysNo(t *testing.T) {
	o := discOutline(20)
	all, err := PackCavities(o, PackOptions{Cavities: 4, GapMM: 8, WallMM: 12, MostMM: r2.Vec{X: 80, Y: 300}})
	if err != nil {
		t.Fatal(err)
	}
	if s := r2.Sub(all[0].Box.Max, all[0].Box.Min); s.X+24 > 80 || s.Y+24 > 300 {
		t.Errorf("%v does not fit", s)
	}
	for _, opt := range []PackOptions{{Cavities: 4, MostMM: r2.Vec{X: 60, Y: 90}}, {Cavities: 0}, {Cavities: MostCavities + 1}, {Cavities: 2, GapMM: math.NaN()}} {
		if _, err := PackCavities(o, opt); !errors.Is(err, ErrCavities) {
			t.Errorf("%+v: %v, want ErrCavities", opt, err)
		}
	}
	if _, err := PackCavities(Outline{}, PackOptions{Cavities: 2}); !errors.Is(err, ErrCavities) {
		t.Errorf("no outline: %v", err)
	}
}
