package steps

import (
	"strings"
	"testing"

	"mouldwright/internal/job"
	"mouldwright/internal/tooling"
)

// Both skins are poured in one closing: everything gets its release before the first pour, the mould is
// turned over closed, and each pour goes in by its own shell's port. Then the plate is out, and the casting
// touches silicone alone but for the flanges.
func TestSkin(t *testing.T) {
	m, silicone := generic(t, "pu-rigid"), generic(t, "silicone-platinum")
	up, down := [3]float64{0, 0, 1}, [3]float64{0, 0, -1}
	rep := report(t, m, tooling.SkinFamily, job.PieceReport{Name: tooling.LowerShell, Exit: down}, job.PieceReport{Name: tooling.UpperShell, Exit: up},
		job.PieceReport{Name: tooling.MasterPlate, Exit: up}, job.PieceReport{Name: tooling.LowerSkin, Poured: true, Exit: down}, job.PieceReport{Name: tooling.UpperSkin, Poured: true, Exit: up})
	rep.Pours = []job.PourReport{{Piece: tooling.UpperSkin, ML: 30}, {Piece: tooling.LowerSkin, ML: 40}}
	rep.Warnings = []string{"with the plate between the flanges, for the pours, take M4 × 16 screws instead of × 12"}
	rep.Mould.Opening = ""
	rep.Mould.Stages = []string{"the upper shell leaves the master plate: free", "the upper skin leaves the casting: free"}
	rep.Mould.Features = []job.FeatureReport{{Name: "B1", Kind: "bolt", Piece: "both", Words: "M4 × 12 cap screw, nut"}, {Name: "S1", Kind: "sprue", Piece: tooling.UpperSkin},
		{Name: "V1", Kind: "vent", Piece: tooling.UpperSkin}, {Name: "Fu1", Kind: "fill port for the silicone", Piece: tooling.UpperShell},
		{Name: "Fl1", Kind: "fill port for the silicone", Piece: tooling.LowerShell}, {Name: "Fl2", Kind: "vent for the silicone", Piece: tooling.LowerShell}}
	p := mustMake(t, rep, m, Bench{Silicone: silicone})
	checkPlan(t, p)
	inOrder(t, p, "release-lower-shell-upper-skin", "release-upper-shell-upper-skin", "release-master-plate-upper-skin", "bolts-upper-skin", "pour-upper-skin", "cure-upper-skin",
		"turn-upper-skin", "pour-lower-skin", "purge-fl2-lower-skin", "cure-lower-skin", "open-lower-skin", "release-upper-shell", "release-upper-skin", "bolts", "pour", "purge-v1", "open")
	if s := p.Steps[p.at("bolts-upper-skin")]; strings.Contains(s.Title, "× 12") {
		t.Errorf("the pour is bolted with the short screws: %s", s.Title)
	}
	for _, id := range []string{"open-upper-skin", "bolts-lower-skin", "release-lower-shell-lower-skin", "purge-fl2-upper-skin", "release-master-plate"} {
		if p.at(id) >= 0 {
			t.Errorf("there is a step %s", id)
		}
	}
	say(t, p, map[string][2]string{
		"pour-upper-skin":                 {"into Fu1 alone", "Fl1"},
		"pour-lower-skin":                 {"into Fl1 alone", "Fu1"},
		"pour":                            {"into S1", "F"},
		"bolts-upper-skin":                {"take M4 × 16 screws instead", "torque of"},
		"bolts":                           {"Seat the keys", "M4 × 16"},
		"release-master-plate-upper-skin": {"the stalks of sprue and vents", "the cavity"},
		"release-lower-shell":             {"the rim around the skin", "the cavity"},
		"open-lower-skin":                 {"From the proof: the upper shell leaves the master plate: free.", "The master plate leaves"},
		"open":                            {"From the proof: the upper skin leaves the casting: free.", "lower shell leaves"},
	})
}
