package fill

import (
	"bytes"
	"context"
	"encoding/xml"
	"image/color"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/sheet"
)

// save writes a picture to the folder named by FILL_PICTURES, to be looked at.
func save(t *testing.T, name string, data []byte) {
	if dir := os.Getenv("FILL_PICTURES"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func svg(t *testing.T, name string, d *sheet.Drawing) {
	t.Helper()
	var b bytes.Buffer
	if err := d.WriteSVG(&b); err != nil {
		t.Fatal(err)
	}
	save(t, name+".svg", b.Bytes())
	dec := xml.NewDecoder(&b)
	n := 0
	for {
		_, err := dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		n++
	}
	if n < 30 {
		t.Errorf("%s: only %d tokens", name, n)
	}
}

// A frame at half of the bell holds half the cavity, and its picture shows resin, space and trapped
// air in the share of the section they have: bell 16 × 10 of trapped air in a section of 40 × 30.
func TestPictures(t *testing.T) {
	c := cavity(t, bell(t), Options{PitchMM: 0.5})
	set := Setup{Pour: []r3.Vec{v3(15, 15, 30)}, Vents: []r3.Vec{v3(-15, -15, 30)}, Frames: []float64{0, 0.5, 1}}
	r := filled(t, c, set)
	if len(r.Frames) != 3 {
		t.Fatalf("%d frames", len(r.Frames))
	}
	close1(t, "half", r.Frames[1].FilledMM3(), c.VolumeMM3()/2, 1e-3*c.VolumeMM3())
	var b bytes.Buffer
	if err := r.Frames[2].WritePNG(&b, v3(0, 0, 15), false, 664); err != nil {
		t.Fatal(err)
	}
	save(t, "frame.png", b.Bytes())
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	count := map[color.RGBA]float64{}
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			count[color.RGBAModel.Convert(img.At(x, y)).(color.RGBA)]++
		}
	}
	// 16 px a mm. Bell walls and crown in the section: 2 × 2 × 14 + 16 × 4.
	px := 16.0 * 16
	close1(t, "air", count[inkRed]/px, 160, 3)
	close1(t, "resin", count[inkBlue]/px, 40*30-160-2*2*14-16*4, 12)
	if _, err := r.Frames[0].Picture(v3(0, 0, 0), true, 3); err == nil {
		t.Error("3 pixels pass")
	}
	svg(t, "pockets", r.PocketMap(set))
	svg(t, "curve", r.CurveChart())
	ring := searched(t, c, TiltOptions{Pour: set.Pour, Directions: 120})
	svg(t, "tilt", ring.Chart())
	lid, err := SearchLid(context.Background(), LidSearch{Lid: Lid{Base: pitFor(t), Lid: block(v3(-5, -5, 20), v3(65, 45, 26)), Into: v3(5, 5, 0), LiquidMM3: 47500, PitchMM: 2, Steps: 6}, Angles: []float64{0, 10}})
	if err != nil {
		t.Fatal(err)
	}
	svg(t, "lid", lid.Chart())
	svg(t, "closing", lid.Closings[lid.Best].Chart())
}

func TestRoundNumbers(t *testing.T) {
	for v, want := range map[float64]float64{1: 1, 1.1: 2, 0.021: 0.025, 430: 500, 7: 10} {
		close1(t, "round up", roundUp(v), want, 1e-9*math.Abs(want))
	}
	if m := marks(-20, 20); len(m) < 4 || len(m) > 9 || m[0] != -20 {
		t.Errorf("marks %v", m)
	}
}
