package batch

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestPackClosedForm: four squares of side a fit a circle of diameter 2√2·a and no smaller one; a box
// fits alone if its diagonal does.
func TestPackClosedForm(t *testing.T) {
	four := [][3]float64{{10, 10, 5}, {10, 10, 5}, {10, 10, 5}, {10, 10, 5}}
	for _, c := range []struct {
		d, h  float64
		boxes [][3]float64
		fits  bool
	}{
		{20*math.Sqrt2 + 1e-6, 5, four, true},
		{20*math.Sqrt2 - 1e-3, 5, four, false},
		{20*math.Sqrt2 + 1e-6, 4.9, four, false},
		{10*math.Sqrt2 + 1e-6, 20, four, true}, // four layers
		{10*math.Sqrt2 + 1e-6, 19.9, four, false},
		{math.Hypot(30, 40) + 1e-6, 1, [][3]float64{{30, 40, 1}}, true},
		{math.Hypot(30, 40) - 1e-3, 1, [][3]float64{{30, 40, 1}}, false},
	} {
		p := &Pot{Count: 1, DiameterMM: c.d, HeightMM: c.h, ClearanceMM: 0}
		in, ok := p.Pack(c.boxes)
		if ok != c.fits {
			t.Errorf("%d boxes in a pot of %g × %g: %v", len(c.boxes), c.d, c.h, ok)
		}
		if ok {
			if err := checkPacking(p, c.boxes, in); err != nil {
				t.Error(err)
			}
		}
	}
}

func TestPackIsSound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := &Pot{Count: 1, DiameterMM: rapid.Float64Range(100, 400).Draw(t, "d"), HeightMM: rapid.Float64Range(50, 300).Draw(t, "h"), ClearanceMM: rapid.Float64Range(0, 10).Draw(t, "gap")}
		boxes := make([][3]float64, rapid.IntRange(1, 12).Draw(t, "n"))
		for i := range boxes {
			for k := range 3 {
				boxes[i][k] = rapid.Float64Range(10, 120).Draw(t, "side")
			}
		}
		if in, ok := p.Pack(boxes); ok {
			if err := checkPacking(p, boxes, in); err != nil {
				t.Fatal(err)
			}
		}
	})
}

// TestCheapestKits against every combination.
func TestCheapestKits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kits := make([]Kit, rapid.IntRange(1, 3).Draw(t, "kits"))
		for i := range kits {
			kits[i] = Kit{float64(100 * rapid.IntRange(1, 30).Draw(t, "mass")), float64(rapid.IntRange(1, 200).Draw(t, "price"))}
		}
		need := float64(rapid.IntRange(1, 6000).Draw(t, "need"))
		var price, mass float64
		for k, n := range cheapest(kits, need) {
			price += float64(n) * kits[k].Price
			mass += float64(n) * kits[k].MassG
		}
		best := math.Inf(1)
		var all func(k int, g, p float64)
		all = func(k int, g, p float64) {
			if g >= need {
				best = min(best, p)
				return
			}
			if k == len(kits) {
				return
			}
			all(k+1, g, p)
			all(k, g+kits[k].MassG, p+kits[k].Price)
		}
		all(0, 0, 0)
		if mass < need {
			t.Fatalf("%g g bought of %g", mass, need)
		}
		if price > best+1e-9 {
			t.Fatalf("price %g, the least is %g", price, best)
		}
	})
}

// TestBreakEvenClosedForm: two ways with fixed costs F and costs v a part cross at
// n = (F2 − F1)/(v1 − v2).
func TestBreakEvenClosedForm(t *testing.T) {
	b := &Bench{Materials: []Material{{Kits: []Kit{{1, 1}}}}}
	b.Ways = []Way{
		{Name: "cheap tool", Moulds: 1, Cavities: 1, MouldCost: 10, ShotG: 7, RoundsPerDay: 1},
		{Name: "dear tool", Moulds: 1, Cavities: 1, MouldCost: 110, ShotG: 3, RoundsPerDay: 1},
	}
	got := b.BreakEven(100)
	if len(got) != 2 || got[1].From != 26 || got[0].To != 25 { // equal at (110−10)/(7−3) = 25; the dear tool is cheaper from 26 on
		t.Errorf("%+v", got)
	}
	w := Way{Moulds: 2, Cavities: 4, MouldCost: 5, LifeShots: 10, MasterCost: 100, MasterMoulds: 3, ShotG: 1, RoundsPerDay: 1}
	c := b.Cost(&w, 161) // 41 shots: 5 moulds of 10, 2 masters, 21 days
	if c.Moulds != 5 || c.Masters != 2 || c.Days != 21 || abs(c.Total-(25+200+41)) > 1e-9 {
		t.Errorf("%+v", c)
	}
}

// TestCalendar checks the structure that RFC 5545 asks for: CR LF, at most 75 octets a line (3.1),
// nested objects, the properties that a VEVENT needs (3.6.1), escaped text (3.3.11).
func TestCalendar(t *testing.T) {
	b := demo(t)
	b.Versions[0].Name = `A; "very, very" long näme \ of a version: ` + strings.Repeat("ümläut ", 12)
	p := mustPlan(t, b, quick)
	var buf bytes.Buffer
	if err := b.WriteCalendar(&buf, p); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(strings.ReplaceAll(buf.String(), "\r\n", ""), "\n") || strings.Contains(strings.ReplaceAll(buf.String(), "\r\n", ""), "\r") {
		t.Error("a line does not end in CR LF")
	}
	for _, l := range strings.Split(buf.String(), "\r\n") {
		if len(l) > 75 {
			t.Errorf("%d octets: %q", len(l), l)
		}
	}
	lines := strings.Split(strings.TrimSuffix(strings.ReplaceAll(buf.String(), "\r\n ", ""), "\r\n"), "\r\n")
	var open []string
	uids := map[string]bool{}
	has := map[string]bool{}
	found := false
	for _, l := range lines {
		name, value, ok := strings.Cut(l, ":")
		name, _, _ = strings.Cut(name, ";")
		if !ok {
			t.Fatalf("no property: %q", l)
		}
		switch name {
		case "BEGIN":
			open = append(open, value)
			has = map[string]bool{}
			continue
		case "END":
			if len(open) == 0 || open[len(open)-1] != value {
				t.Fatalf("END:%s closes %v", value, open)
			}
			open = open[:len(open)-1]
			if value == "VEVENT" && (!has["UID"] || !has["DTSTAMP"] || !has["DTSTART"]) {
				t.Errorf("an event lacks a property: %v", has)
			}
			continue
		case "UID":
			if uids[value] {
				t.Errorf("UID %s twice", value)
			}
			uids[value] = true
		case "SUMMARY":
			found = found || strings.Contains(value, `A\; "very\, very" long näme \\ of`)
		}
		if has[name] {
			t.Errorf("%s twice in one object", name)
		}
		has[name] = true
	}
	if len(open) > 0 || !found || lines[0] != "BEGIN:VCALENDAR" {
		t.Errorf("open %v, escaped name found: %v", open, found)
	}
}

func TestFiles(t *testing.T) {
	b := demo(t)
	r, err := b.NewReport(t.Context(), mustPlan(t, b, quick), nil)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	paths, err := WriteFiles(filepath.Join(dir, "out"), b, r)
	if err != nil {
		t.Fatal(err)
	}
	heads := map[string]string{".svg": "<svg ", ".pdf": "%PDF-", ".ics": "BEGIN:VCALENDAR", ".txt": b.Name, ".json": "{"}
	for _, p := range paths {
		src, err := os.ReadFile(p)
		if err != nil || !bytes.HasPrefix(src, []byte(heads[filepath.Ext(p)])) {
			t.Errorf("%s: %v, %.20q", p, err, src)
		}
	}
	back, err := ReadReport(filepath.Join(dir, "out", PlanFile))
	if err != nil {
		t.Fatal(err)
	}
	if err := Verify(b, back.Plan); err != nil {
		t.Error(err)
	}
	var sum float64
	for _, l := range r.Costs.Lines {
		sum += l.Share
	}
	if abs(sum-1) > 1e-9 {
		t.Errorf("shares add up to %g", sum)
	}
}

// TestFileErrors: what is wrong in batch.toml is named with its place.
func TestFileErrors(t *testing.T) {
	src, err := os.ReadFile("../../demo/batch/batch.toml")
	if err != nil {
		t.Fatal(err)
	}
	lineOf := func(s string) int { return strings.Count(string(src[:bytes.Index(src, []byte(s))]), "\n") + 1 }
	for _, c := range []struct {
		old, new, key string
		line          int
	}{
		{"purge_min = 6", "purge_mins = 6", "mixing.purge_mins", lineOf("purge_min")},
		{"shot_g = 62\ncoat", "shot_g = nan\ncoat", "recipe.shot_g", lineOf("shot_g")},
		{`from = "13:00"`, `from = "18:00"`, "shift.to", lineOf(`to = "17:00"`)},
		{`colour = "slate"`, "colour = 5", "version.colour", lineOf(`colour = "slate"`)},
		{"operators = 1", "operators = 0", "shop.operators", lineOf("operators")},
		{"box_mm = [140, 140, 52]", "box_mm = [140, 140]", "tool.box_mm", lineOf("box_mm")},
		{"days = 30", "days = 3000000", "days", lineOf("days = 30")},
		{`due = "2026-03-13"`, `due = "2026-13-03"`, "version.due", lineOf("due")},
		{`tool = "Foot ring mould"`, `tool = "x"`, "version.tool", lineOf(`tool = "Foot`)},
	} {
		_, err := Parse("batch.toml", bytes.Replace(src, []byte(c.old), []byte(c.new), 1))
		fe, ok := err.(*FileError)
		if !ok {
			t.Errorf("%s: %v", c.new, err)
			continue
		}
		if fe.Line != c.line || fe.Key != c.key {
			t.Errorf("%s: line %d key %q (%v), expected line %d key %q", c.new, fe.Line, fe.Key, err, c.line, c.key)
		}
	}
}

func FuzzParse(f *testing.F) {
	src, err := os.ReadFile("../../demo/batch/batch.toml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(src)
	f.Fuzz(func(t *testing.T, src []byte) {
		if b, err := Parse("batch.toml", src); err == nil && b == nil {
			t.Error("no bench and no error")
		}
	})
}
