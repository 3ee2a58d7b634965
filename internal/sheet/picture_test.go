package sheet

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

func picture(t testing.TB, v View, shown ...Shown) image.Image {
	t.Helper()
	img, err := Picture(context.Background(), shown, v)
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// covered is how many pixels are not paper, weighing the smoothed ones by how dark they are not.
func covered(img image.Image) (n int) {
	b := img.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if r, g, bl, _ := img.At(x, y).RGBA(); r+g+bl < 3*0xffff {
				n++
			}
		}
	}
	return n
}

// Seen from straight above, a box of 40 × 30 mm and a disc cover as many pixels as their areas say.
func TestPictureCoversTheShadow(t *testing.T) {
	v := View{ElevationDeg: 90, AzimuthDeg: -90, WidthPx: 600, HeightPx: 600, Plain: true}
	perMM := 600 * fillHeight / 30 // the height fills first
	if w := 600 * fillWidth / 40; w < perMM {
		perMM = w
	}
	b := picture(t, v, Shown{Mesh: box(r3.Vec{X: 7}, r3.Vec{X: 47, Y: 30, Z: 20})})
	near(t, "box", float64(covered(b)), 1200*perMM*perMM, 0.01*1200*perMM*perMM)
	_, lower, _ := ringMould(96)
	perMM = 600 * fillHeight / 84
	area := 96.0 / 2 * math.Sin(2*math.Pi/96) * (42*42 - 2*2) * perMM * perMM
	near(t, "ring", float64(covered(picture(t, v, Shown{Mesh: lower}))), area, 0.01*area)
}

// What stands in front hides what stands behind, in whichever order they are drawn.
func TestPictureHidesWhatIsBehind(t *testing.T) {
	front := Shown{Mesh: box(r3.Vec{X: -20, Y: -20, Z: 10}, r3.Vec{X: 20, Y: 20, Z: 20}), Colour: color.RGBA{0, 0, 255, 255}}
	behind := Shown{Mesh: box(r3.Vec{X: -5, Y: -5}, r3.Vec{X: 5, Y: 5, Z: 5}), Colour: color.RGBA{255, 0, 0, 255}}
	above := View{ElevationDeg: 90, WidthPx: 200, HeightPx: 200, Plain: true}
	for _, order := range [][]Shown{{front, behind}, {behind, front}} {
		if n := reddish(picture(t, above, order...)); n != 0 {
			t.Errorf("from above %d pixels of the hidden box show", n)
		}
		below := above
		below.ElevationDeg = -90
		if reddish(picture(t, below, order...)) == 0 {
			t.Error("from below the small box does not show")
		}
	}
}

func reddish(img image.Image) (n int) {
	b := img.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if r, _, bl, _ := img.At(x, y).RGBA(); r > bl+0x3000 {
				n++
			}
		}
	}
	return n
}

// Marking the top of a box colours all that is seen from above; marking its bottom nothing.
func TestPictureMarksFacets(t *testing.T) {
	b := box(r3.Vec{}, r3.Vec{X: 10, Y: 10, Z: 10})
	v := View{ElevationDeg: 90, WidthPx: 100, HeightPx: 100, Plain: true}
	for z, want := range map[float64]bool{10: true, 0: false} {
		marked := make([]bool, len(b.Tris))
		for i := range b.Tris {
			f := b.Facet(i)
			marked[i] = f[0].Z == z && f[1].Z == z && f[2].Z == z
		}
		n := reddish(picture(t, v, Shown{Mesh: b, Marked: marked}))
		if (n > 0) != want {
			t.Errorf("facets at z = %g marked: %d pixels show it", z, n)
		}
		if want && n < 76*76 { // 80 pixels wide, less the drawn edges
			t.Errorf("only %d pixels of the marked top", n)
		}
	}
	if _, err := Picture(context.Background(), []Shown{{Mesh: b, Marked: make([]bool, 3)}}, v); err == nil {
		t.Error("three marks for twelve facets accepted")
	}
}

func TestPictureRepeatsAndStops(t *testing.T) {
	part, lower, upper := ringMould(48)
	pieces := Exploded([]Leaving{{Name: "part", Mesh: part}, {Name: "upper", Mesh: upper, Exit: r3.Vec{Z: 1}}, {Name: "lower", Mesh: lower, Exit: r3.Vec{Z: -1}}}, 5)
	v := View{WidthPx: 300, HeightPx: 200}
	a, b := picture(t, v, pieces...).(*image.RGBA), picture(t, v, pieces...).(*image.RGBA)
	if !bytes.Equal(a.Pix, b.Pix) {
		t.Error("two runs differ")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Picture(ctx, pieces, v); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestPictureRefusesBadInput(t *testing.T) {
	b := box(r3.Vec{}, r3.Vec{X: 1, Y: 1, Z: 1})
	bad := &mesh.Mesh{Verts: append([]r3.Vec{{X: math.Inf(1)}}, b.Verts[1:]...), Tris: b.Tris}
	for name, c := range map[string]struct {
		shown []Shown
		v     View
	}{
		"nothing":   {nil, View{}},
		"no facets": {[]Shown{{Mesh: &mesh.Mesh{}}}, View{}},
		"infinite":  {[]Shown{{Mesh: bad}}, View{}},
		"too large": {[]Shown{{Mesh: b}}, View{WidthPx: 1e6}},
		"elevation": {[]Shown{{Mesh: b}}, View{ElevationDeg: 91}},
		"NaN view":  {[]Shown{{Mesh: b}}, View{AzimuthDeg: math.NaN()}},
	} {
		if _, err := Picture(context.Background(), c.shown, c.v); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// After the shift no two pieces share any height, and gaps are as asked.
func TestExplodedPiecesAreApart(t *testing.T) {
	part, lower, upper := ringMould(24)
	for _, order := range [][]int{{0, 1, 2}, {1, 0, 2}, {2, 1, 0}, {1, 2, 0}} {
		all := []Leaving{{Mesh: part}, {Mesh: upper, Exit: r3.Vec{Z: 1}}, {Mesh: lower, Exit: r3.Vec{Z: -1}}}
		var pieces []Leaving
		for _, i := range order {
			pieces = append(pieces, all[i])
		}
		var lo, hi [3]float64
		for i, s := range Exploded(pieces, 5) {
			a, b := extent(s.Mesh, r3.Vec{Z: 1})
			lo[order[i]], hi[order[i]] = a+s.Offset.Z, b+s.Offset.Z
		}
		near(t, "gap above the part", lo[1]-hi[0], 5, 1e-9)
		near(t, "gap below the part", lo[0]-hi[2], 5, 1e-9)
	}
}

func TestRoundLength(t *testing.T) {
	for v, want := range map[float64]float64{1: 1, 1.9: 1, 2: 2, 4.9: 2, 5: 5, 9.9: 5, 37: 20, 0.07: 0.05} {
		near(t, "bar", roundLength(v), want, 1e-12)
	}
}

func BenchmarkPicture(b *testing.B) {
	_, lower, _ := ringMould(2048)
	for b.Loop() {
		picture(b, View{}, Shown{Name: "lower", Mesh: lower})
	}
}
