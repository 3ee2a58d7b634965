//go:build unix

package fill

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"syscall"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
)

// cpuSeconds is the processor time this process has used: a busy machine does not stretch it.
func cpuSeconds() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

// vase is a cavity of 100 mm with a wavy wall, ribs inside and several high points.
func vase(sides int) *mesh.Mesh {
	var s []r2.Vec
	n := sides / 3
	for i := range n + 1 {
		z := 100 * float64(i) / float64(n)
		s = append(s, r2.Vec{X: 50 + 4*math.Sin(z/4), Y: z})
	}
	for i := range n + 1 {
		x := 50 + 4*math.Sin(25) - 4*(5+math.Sin(25))*0 - 30*float64(i)/float64(n)
		s = append(s, r2.Vec{X: x, Y: 100 + 3*math.Sin(x/3) - 3*math.Sin((50+4*math.Sin(25))/3)})
	}
	for i := 1; i < n; i++ {
		z := s[2*n+1].Y * (1 - float64(i)/float64(n))
		s = append(s, r2.Vec{X: 20 + 4*math.Sin(25) + 3*math.Sin(z/5)*math.Sin(math.Pi*z/100), Y: z})
	}
	s = append(s, r2.Vec{X: 20 + 4*math.Sin(25), Y: 0})
	return turned(s, sides)
}

// sweeps is one fill at a pitch, without the check run.
func benchFill(b *testing.B, voxels float64) {
	m := vase(180)
	pitch := math.Cbrt(m.VolumeMM3() / voxels)
	c := cavity(b, m, Options{PitchMM: pitch, Workers: 2})
	set := Setup{Up: tilted(6, 3), Pour: []r3.Vec{topOff(c)}, NoCheckRun: true}
	var r *Result
	peak := watchHeap(b)
	start, n := cpuSeconds(), 0
	for b.Loop() {
		n++
		var err error
		if r, err = c.Fill(context.Background(), set); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric((cpuSeconds()-start)/float64(n), "cpu-s/op")
	b.ReportMetric(peak()/voxels, "B/voxel")
	b.ReportMetric(float64(len(r.Pockets)), "pockets")
}

// watchHeap samples the heap, collected often, and gives the most that was on it above the start.
func watchHeap(b *testing.B) (peak func() float64) {
	old := debug.SetGCPercent(5)
	b.Cleanup(func() { debug.SetGCPercent(old) })
	live := func() float64 {
		s := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
		metrics.Read(s)
		return float64(s[0].Value.Uint64())
	}
	runtime.GC()
	base, most := live(), 0.0
	stop, done := make(chan bool), make(chan bool)
	go func() {
		for {
			select {
			case <-stop:
				done <- true
				return
			case <-time.After(time.Millisecond):
				most = max(most, live()-base)
			}
		}
	}()
	return func() float64 { stop <- true; <-done; return most }
}

func BenchmarkFill(b *testing.B) {
	for _, v := range []float64{1e6, 5e6, 20e6, 80e6} {
		b.Run(fmt.Sprintf("voxels=%.0e", v), func(b *testing.B) { benchFill(b, v) })
	}
}

// The tilt search on the demo's foot ring.
func BenchmarkTilt(b *testing.B) {
	part := lantern.FootRing()
	c := cavity(b, part.Mesh, Options{Show: part.Show(), Workers: 2})
	o := TiltOptions{Pour: []r3.Vec{topOff(c)}}
	start, n := cpuSeconds(), 0
	for b.Loop() {
		n++
		if _, err := c.SearchTilt(context.Background(), o); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric((cpuSeconds()-start)/float64(n), "cpu-s/op")
	b.ReportMetric(float64(len(part.Mesh.Tris)), "facets")
}

// One direction of the tree of peaks against the number of facets.
func BenchmarkPeaks(b *testing.B) {
	for _, sides := range []int{60, 180, 540, 1000} {
		m := vase(sides)
		b.Run(fmt.Sprintf("facets=%d", len(m.Tris)), func(b *testing.B) {
			c := cavity(b, m, Options{})
			for b.Loop() {
				c.peaks(tilted(6, 3), nil)
			}
		})
	}
}
