package opening

import (
	"context"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// crate is a box of 20 mm with a 2 mm wall, open at the top, a lid on it, and a brick inside that
// touches nothing but the floor.
func crate() []Body {
	box := squareRing([]r2.Vec{v2(0, 0), v2(10, 0), v2(10, 20), v2(8, 20), v2(8, 2), v2(0, 2)})
	return []Body{
		{"crate", box},
		{"lid", boxMesh(-10, -10, 20, 10, 10, 22)},
		{"brick", boxMesh(-3, -3, 2, 3, 3, 12)},
	}
}

func TestOrderOfMotions(t *testing.T) {
	ctx := context.Background()
	prove := func(order ...Motion) *Proof {
		t.Helper()
		p, err := Prove(ctx, crate(), order, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	lid, brick := Motion{Piece: "lid", Direction: up}, Motion{Piece: "brick", Direction: up}
	if p := prove(lid, brick); p.State != Free || len(p.Steps[0].Verdicts) != 2 || len(p.Steps[1].Verdicts) != 1 {
		t.Errorf("lid first:\n%s", p.Words())
	}
	p := prove(brick, lid)
	if p.State != Blocked || p.Steps[0].State != Blocked || p.Steps[1].State != Free {
		t.Fatalf("brick first:\n%s", p.Words())
	}
	v := p.firstLock()
	if v.Fixed != "lid" || v.TravelMM != 8 {
		t.Errorf("brick stops at %s", v.Words())
	}
	if w := p.Words(); !strings.HasPrefix(w, "brick leaves along +z: blocked\n  brick by lid: blocked at travel 8.00 mm at ") ||
		!strings.HasSuffix(w, "\nlid leaves along +z: free") {
		t.Errorf("words:\n%s", w)
	}
	// Carried by the lid, the brick goes with it and is judged against the crate.
	p = prove(Motion{Piece: "lid", Direction: up, Carries: []string{"brick"}})
	if p.State != Free || len(p.Steps[0].Verdicts) != 2 {
		t.Errorf("carried:\n%s", p.Words())
	}
	// Sideways the brick hits the crate's wall after 5 mm, the lid rubs over the rim.
	p = prove(Motion{Piece: "lid", Direction: r3.Vec{X: 3}, Carries: []string{"brick"}})
	if v := p.firstLock(); v == nil || v.Moving != "brick" || v.TravelMM != 5 {
		t.Errorf("sideways:\n%s", p.Words())
	}
	wantNear(t, "rim", p.Steps[0].Verdicts[0].ZeroDraftAreaMM2, 400-256, 1e-9)
}

func TestProgressRisesToOne(t *testing.T) {
	var seen []float64
	opt := Options{Progress: func(x float64) { seen = append(seen, x) }}
	_, err := ProveWithAndWithout(context.Background(), crate(), "brick", []Motion{{Piece: "lid", Direction: up}}, opt)
	if err != nil {
		t.Fatal(err)
	}
	if len(seen) == 0 || !slices.IsSorted(seen) || seen[0] < 0 || seen[len(seen)-1] < 1-1e-12 || seen[len(seen)-1] > 1+1e-12 {
		t.Errorf("progress %v", seen)
	}
}
