package steps

import (
	"slices"
	"strings"
	"testing"

	"mouldwright/internal/job"
	"mouldwright/internal/tooling"
)

// A tray is levelled by its screws, its carrier gets no release and is hung in the resin, and nothing is
// closed; a tray without a carrier has no such steps.
func TestTray(t *testing.T) {
	m := generic(t, "pu-flexible")
	rep := report(t, m, tooling.TrayFamily, job.PieceReport{Name: tooling.Tray, Exit: [3]float64{0, 0, -1}}, job.PieceReport{Name: tooling.CarrierPiece, Exit: [3]float64{0, 0, 1}})
	rep.Mould.Opening, rep.Mould.Stages = "", []string{"casting and carrier leave the tray together: free"}
	rep.Mould.Features = []job.FeatureReport{{Name: "G1", Kind: "moat", Piece: tooling.Tray}, {Name: "S1", Kind: "levelling screw", Piece: tooling.Tray},
		{Name: "T1", Kind: "tab", Piece: tooling.CarrierPiece}, {Name: "T2", Kind: "tab", Piece: tooling.CarrierPiece}, {Name: "A1", Kind: "air hole", Piece: tooling.CarrierPiece}}
	rep.Warnings = []string{"the resin lifts the carrier with 0.04 N: clamp it"}
	p := mustMake(t, rep, m, Bench{})
	checkPlan(t, p)
	inOrder(t, p, "seal-tray", "release-tray", "set-up", "carrier", "hang", "weigh", "pour", "cure", "open", "trim")
	for _, id := range []string{"release-carrier", "close", "bolts", "unbolt"} {
		if p.at(id) >= 0 {
			t.Errorf("there is a step %s", id)
		}
	}
	say(t, p, map[string][2]string{
		"set-up":       {"Set the tray level with S1", "tilt"},
		"release-tray": {"moat G1", "levelling screw"},
		"hang":         {"The feet of T1 and T2 must sit", "A1"},
		"pour":         {"Lower the carrier at a slant", "Stop at the brim of the cavity"},
		"open":         {"From the proof: casting and carrier leave the tray together: free.", "leaves along"},
		"trim":         {"Bend T1 and T2", "sprue"},
	})
	if s := p.Steps[p.at("hang")]; !strings.Contains(strings.Join(s.Words, " "), "0.04 N") || !s.Hard {
		t.Errorf("%+v", s)
	}
	rep.Mould.Pieces = rep.Mould.Pieces[:1]
	rep.Mould.Features = slices.DeleteFunc(rep.Mould.Features, func(f job.FeatureReport) bool { return f.Piece == tooling.CarrierPiece })
	plain := mustMake(t, rep, m, Bench{})
	if plain.at("carrier") >= 0 || plain.at("hang") >= 0 || strings.Contains(strings.Join(plain.Steps[plain.at("trim")].Words, " "), "Bend") {
		t.Error("a tray without a carrier hangs one")
	}
}

// With a trimming jig the flash is cut in it, with the caution about blades.
func TestTrimJig(t *testing.T) {
	m := generic(t, "pu-flexible")
	rep := report(t, m, "two rigid halves", halves()...)
	rep.Trim = &job.TrimReport{GuidedMM: 200}
	p := mustMake(t, rep, m, Bench{})
	s := p.Steps[p.at("trim")]
	if !strings.Contains(s.Words[0], "trim nest") || len(s.Cautions) == 0 || !strings.Contains(s.Cautions[0], "glove") {
		t.Errorf("%+v", s)
	}
}
