package fill

import (
	"fmt"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func evenly(n int) (out []float64) {
	for i := 1; i <= n; i++ {
		out = append(out, float64(i)/float64(n))
	}
	return out
}

// Behind a weir (see TestWeir) resin comes to each height at a volume that plane geometry gives.
func TestWettingBehindWeir(t *testing.T) {
	m := extruded(t, []r2.Vec{{X: 0, Y: 0}, {X: 20, Y: 0}, {X: 20, Y: 10}, {X: 25, Y: 10}, {X: 25, Y: -4}, {X: 55, Y: -4}, {X: 55, Y: 25}, {X: 0, Y: 25}}, 0, 10)
	c := cavity(t, m, Options{PitchMM: 0.5})
	const frames = 40
	r := filled(t, c, Setup{Pour: []r3.Vec{v3(10, 5, 25)}, Frames: evenly(frames)})
	places := []r3.Vec{v3(5, 5, 5), v3(10, 5, 9), v3(40, 5, -2), v3(40, 5, 8), v3(5, 5, 18), v3(55, 10, 25)}
	want := []float64{1000, 1800, 2000 + 600, 2000 + 3600, 6200 + 8*550, 6200 + 15*550}
	got := Wetting(r.Frames, places)
	for i := range places {
		// Between two frames the level may turn from one basin to the other.
		close1(t, fmt.Sprint(places[i]), got[i], want[i], c.VolumeMM3()/frames)
	}
}

// Under a bell (see TestInvertedCup) air stays, so the roof inside is never wet; the way round it is.
func TestWettingLeavesTrappedDry(t *testing.T) {
	c := cavity(t, bell(t), Options{PitchMM: 0.5})
	r := filled(t, c, Setup{Pour: []r3.Vec{v3(15, 15, 30)}, Vents: []r3.Vec{v3(-15, -15, 30)}, Frames: evenly(20)})
	got := Wetting(r.Frames, []r3.Vec{v3(0, 0, 20), v3(0, 0, 15), v3(-15, 15, 15), v3(0, 0, 5)})
	if got[0] != Dry || got[1] != Dry {
		t.Errorf("under the bell: %v", got[:2])
	}
	close1(t, "beside it", got[2], 40*40*10+5*(40*40-20*16), 0.05*c.VolumeMM3())
	close1(t, "below it", got[3], 40*40*5, 1)
	if w := Wetting(nil, make([]r3.Vec, 2)); w[0] != Dry || w[1] != Dry {
		t.Errorf("without frames: %v", w)
	}
}
