package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"time"

	"mouldwright/bench/corpus"
	"mouldwright/internal/fill"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r3"
)

// tiltRow is what the tilt search made of one proven mould.
type tiltRow struct {
	Name              string
	Facets            int // of the casting, with sprue and vents
	Flat, Best        fill.TiltPoint
	TiltDeg           float64
	CavityMM3         float64
	Seconds           float64 // of the search with two workers
	SameForTwoWorkers bool
}

// worse says that the search made things worse than leaving the mould flat.
func (r tiltRow) worse() bool { return r.Best.TrappedMM3 > r.Flat.TrappedMM3 }

// tiltOf searches the tilt of a mould as built, with one worker and with two.
func tiltOf(ctx context.Context, name string, m *tooling.Mould) (tiltRow, error) {
	row := tiltRow{Name: name, Facets: len(m.Cast.Tris)}
	opt := fill.TiltOptions{MarksOnShow: true, OnlyThese: true}
	for _, f := range m.Features {
		switch f.Kind {
		case "sprue":
			opt.Pour, opt.Rest = append(opt.Pour, f.At), r3.Vec{Z: 1}
		case "side sprue":
			opt.Pour, opt.Rest = append(opt.Pour, f.At), sideOf(m.Block, f.At)
		case "vent":
			opt.Vents = append(opt.Vents, f.At)
		}
	}
	if len(opt.Pour) == 0 {
		return row, errors.New("the mould has no sprue")
	}
	var found [2]*fill.TiltResult
	for i := range found {
		c, err := fill.NewCavity(m.Cast, fill.Options{Workers: i + 1, SnapMM: 2})
		if err != nil {
			return row, err
		}
		began := time.Now()
		if found[i], err = c.SearchTilt(ctx, opt); err != nil {
			return row, err
		}
		row.CavityMM3, row.Seconds = c.VolumeMM3(), time.Since(began).Seconds()
	}
	row.Flat, row.Best, row.TiltDeg = found[1].Flat.TiltPoint, found[1].Best.TiltPoint, found[1].Best.TiltDeg
	row.SameForTwoWorkers = reflect.DeepEqual(found[0], found[1])
	return row, nil
}

// sideOf is the upright side of the block that a place lies nearest to: it is turned up for pouring.
func sideOf(b r3.Box, at r3.Vec) r3.Vec {
	best, up := math.Inf(1), r3.Vec{}
	for _, s := range []struct {
		off float64
		up  r3.Vec
	}{{at.X - b.Min.X, r3.Vec{X: -1}}, {b.Max.X - at.X, r3.Vec{X: 1}}, {at.Y - b.Min.Y, r3.Vec{Y: -1}}, {b.Max.Y - at.Y, r3.Vec{Y: 1}}} {
		if off := math.Abs(s.off); off < best {
			best, up = off, s.up
		}
	}
	return up
}

// tilts runs the main job on every specimen and the tilt search on every mould that comes of it. It
// prints a row each as it goes and the counts at the end.
func tilts(ctx context.Context, c *corpus.Corpus, run mainJob, w io.Writer) error {
	var rows []tiltRow
	for _, s := range c.Specimens {
		out, err := run(ctx, s.Mesh)
		if err != nil {
			return fmt.Errorf("%s: %w", s.Name, err)
		}
		if out.mould == nil {
			continue
		}
		r, err := tiltOf(ctx, s.Name, out.mould)
		if err != nil {
			return fmt.Errorf("%s: tilt search: %w", s.Name, err)
		}
		fmt.Fprintf(w, "%-55s %6d facets  flat %9.4f  best %9.4f mm³ at %4.1f°  %5.2f s  worse %t  same %t\n",
			r.Name, r.Facets, r.Flat.TrappedMM3, r.Best.TrappedMM3, r.TiltDeg, r.Seconds, r.worse(), r.SameForTwoWorkers)
		rows = append(rows, r)
	}
	return tiltCounts(w, rows)
}

// tiltCounts prints how the rows fall.
func tiltCounts(w io.Writer, rows []tiltRow) error {
	var worse, differ, kept, better, cured int
	var slowest, from, to float64
	for _, r := range rows {
		if r.worse() {
			worse++
		}
		if !r.SameForTwoWorkers {
			differ++
		}
		if r.Flat.TrappedMM3 >= minPocketMM3 {
			kept++
			if r.Best.TrappedMM3 < r.Flat.TrappedMM3-minPocketMM3 {
				better++
			}
			if r.Best.TrappedMM3 < minPocketMM3 {
				cured++
			}
		}
		slowest, from, to = max(slowest, r.Seconds), from+r.Flat.TrappedMM3, to+r.Best.TrappedMM3
	}
	_, err := fmt.Fprintf(w, "%d moulds: worse than flat %d, different for 1 and 2 workers %d; %d keep %.1f mm³ or more flat, %d of them less when tilted, %d then none; all together %.1f mm³ flat, %.1f tilted; slowest search %.2f s\n",
		len(rows), worse, differ, kept, minPocketMM3, better, cured, from, to, slowest)
	if err == nil && (worse > 0 || differ > 0) {
		return errors.New("the tilt search failed on real meshes; see the rows")
	}
	return err
}

// minPocketMM3 is the smallest pocket worth a vent, package fill's default.
const minPocketMM3 = 0.5
