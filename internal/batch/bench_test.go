//go:build unix

package batch

import (
	"context"
	"fmt"
	"syscall"
	"testing"
)

// large is a batch of many shots over many moulds: a workshop of four people, two pots, ten colours.
func large(shots, moulds int) *Bench {
	b := &Bench{Name: "large", Start: mustDate("2026-03-02"), Days: 365, Operators: 4, Mixing: Mixing{5000, 360},
		Pot:    &Pot{Count: 4, DiameterMM: 600, HeightMM: 500, ClearanceMM: 5},
		Vacuum: &Vacuum{2, 5000}}
	for _, s := range [][2]int64{{8 * 3600, 12 * 3600}, {13 * 3600, 17 * 3600}} {
		b.Shifts = append(b.Shifts, Shift{Days: workdays, From: s[0], To: s[1]})
	}
	const kinds = 5
	for t := range kinds {
		b.Tools = append(b.Tools, Tool{Name: fmt.Sprintf("tool %c", 'A'+t), Count: moulds / kinds, Cavities: 1, BoxMM: [3]float64{120, 120, 60}})
	}
	b.Recipes = []Recipe{{Name: "soft", ShotG: 60, CoatS: 240, DryS: 600, CoatValidS: 7200, MixS: 120, DegasS: 90, PourS: 60, CloseS: 30,
		PotLifeS: 900, LoadS: 90, PressureS: 4 * 3600, UnloadS: 180, CureS: 16 * 3600, DemouldS: 300, TrimS: 360}}
	for v := range 2 * kinds {
		b.Versions = append(b.Versions, Version{Name: fmt.Sprint("version ", v), Colour: fmt.Sprint("colour ", v%4), Quantity: shots / (2 * kinds), Tool: v % kinds})
	}
	return b
}

// BenchmarkPlan is the whole of Make with its default search, over growing batches on 40 moulds.
func BenchmarkPlan(b *testing.B) {
	for _, shots := range []int{50, 100, 200, 500, 1000, 2000} {
		b.Run(fmt.Sprintf("shots=%d", shots), func(b *testing.B) {
			bench := large(shots, 40)
			begun, runs := cpuSeconds(b), 0
			for b.Loop() {
				runs++
				p, err := Make(context.Background(), bench, Options{})
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(100*p.Gap(), "gap%")
				b.ReportMetric(float64(p.Schedules), "schedules")
			}
			b.ReportMetric((cpuSeconds(b)-begun)/float64(runs), "cpu-s/op")
		})
	}
}

// BenchmarkHelps is finding what would help most, for 2,000 shots over 40 moulds.
func BenchmarkHelps(b *testing.B) {
	bench := large(2000, 40)
	p, err := Make(context.Background(), bench, Options{})
	if err != nil {
		b.Fatal(err)
	}
	c := bench.Costs(p)
	begun, runs := cpuSeconds(b), 0
	for b.Loop() {
		runs++
		if _, err := bench.WhatHelps(context.Background(), p, c, nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric((cpuSeconds(b)-begun)/float64(runs), "cpu-s/op")
}

// BenchmarkReplan is making a plan of 2,000 shots over 40 moulds anew after one shot failed, when a third of it is
// done, and how much of what was to come it moves.
func BenchmarkReplan(b *testing.B) {
	bench := large(2000, 40)
	first, err := Make(context.Background(), bench, Options{})
	if err != nil {
		b.Fatal(err)
	}
	h := followed(first, first.EndS/3)
	for i := range h.Steps {
		if st := stepOf(first, h.Steps[i].ID); st.Kind == stepPour {
			h.Steps[i].Scrap = true
			break
		}
	}
	begun, runs := cpuSeconds(b), 0
	for b.Loop() {
		runs++
		again := *h
		p, err := Make(context.Background(), bench, Options{Before: &again})
		if err != nil {
			b.Fatal(err)
		}
		c := bench.Compare(first, p)
		b.ReportMetric(float64(c.Kept), "kept-loads")
		b.ReportMetric(float64(len(c.Moved)), "moved-loads")
		b.ReportMetric(float64(c.MovedByS)/3600, "moved-h")
	}
	b.ReportMetric((cpuSeconds(b)-begun)/float64(runs), "cpu-s/op")
}

// cpuSeconds is the processor time of the process, which other work on the machine does not change
// much.
func cpuSeconds(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
