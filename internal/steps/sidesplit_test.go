package steps

import (
	"strings"
	"testing"

	"mouldwright/internal/job"
	"mouldwright/internal/tooling"
)

// A mould whose sprue goes in from below is turned over once it is bolted, before anything is mixed.
func TestOnItsHead(t *testing.T) {
	m := generic(t, "pu-flexible")
	for _, z := range []float64{-19, 19} {
		rep := report(t, m, tooling.SideSplitFamily, job.PieceReport{Name: tooling.WholeHalf, Exit: [3]float64{0, 0, -1}},
			job.PieceReport{Name: "side piece 1", Exit: [3]float64{1, 0, 0}}, job.PieceReport{Name: "side piece 2", Exit: [3]float64{-1, 0, 0}})
		rep.Mould.Features = []job.FeatureReport{{Name: "B1", Kind: "bolt", Piece: "both", Words: "M5 × 20 cap screw"},
			{Name: "S1", Kind: "sprue", Piece: tooling.WholeHalf, AtMM: [3]float64{0, 0, z}}, {Name: "V1", Kind: "vent", Piece: tooling.WholeHalf, AtMM: [3]float64{5, 0, z}}}
		p := mustMake(t, rep, m, Bench{})
		checkPlan(t, p)
		head := p.at("on-its-head")
		if z > 0 {
			if head >= 0 {
				t.Error("turned over, though the sprue is on top")
			}
			continue
		}
		if head < p.at("bolts") || head > p.at("weigh") {
			t.Fatalf("turned over at %d, bolted at %d, weighed at %d", head, p.at("bolts"), p.at("weigh"))
		}
		if words := strings.Join(p.Steps[head].Words, " "); !strings.Contains(words, "S1 and V1") || !strings.Contains(words, tooling.WholeHalf) {
			t.Error(words)
		}
		if words := strings.Join(p.Steps[p.at("trim")].Words, " "); strings.Contains(words, "overflow") {
			t.Errorf("no overflow is there to trim: %s", words)
		}
	}
}

// The hand that cuts a block open is told how deep and how far, and each line of the proof once.
func TestCutBlock(t *testing.T) {
	m, silicone := generic(t, "pu-flexible"), generic(t, "silicone-platinum")
	rep := report(t, m, tooling.CutBlockFamily, job.PieceReport{Name: tooling.PouringBox}, job.PieceReport{Name: tooling.Master}, job.PieceReport{Name: tooling.BasePlate}, job.PieceReport{Name: tooling.SiliconeBlock, Poured: true})
	rep.Pours = []job.PourReport{{Piece: tooling.SiliconeBlock, ML: 150}}
	rep.Mould.Opening = ""
	rep.Mould.Stages = []string{"the base plate leaves the master: free", "the casting leaves the uncut end: sliding"}
	rep.Mould.Features = []job.FeatureReport{{Name: "S1", Kind: "sprue", Piece: tooling.SiliconeBlock, AtMM: [3]float64{0, 0, 19}},
		{Name: "C1", Kind: "cut", Piece: tooling.SiliconeBlock, Words: "the blade in by up to 29.9 mm; 14.6 mm left uncut at the far end"}}
	rep.Warnings = []string{"stick the stalk into the base plate with a drop of glue"}
	p := mustMake(t, rep, m, Bench{Silicone: silicone})
	checkPlan(t, p)
	for id, want := range map[string]string{"open-block": "14.6 mm left uncut", "put-together-block": "drop of glue"} {
		if words := strings.Join(p.Steps[p.at(id)].Words, " "); !strings.Contains(words, want) {
			t.Errorf("%s does not say %q: %s", id, want, words)
		}
	}
	if words := strings.Join(p.Steps[p.at("open")].Words, " "); strings.Contains(words, "uncut at the far end") {
		t.Errorf("the block is cut once: %s", words)
	}
}
