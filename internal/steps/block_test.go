package steps

import (
	"testing"

	"mouldwright/internal/job"
	"mouldwright/internal/tooling"
)

// The two blocks are poured one on the other: release on the cured one comes before the second pour, and
// nothing is taken apart that the next pour needs.
func TestSiliconeBlocks(t *testing.T) {
	m, silicone := generic(t, "pu-rigid"), generic(t, "silicone-platinum")
	up, down := [3]float64{0, 0, 1}, [3]float64{0, 0, -1}
	rep := report(t, m, tooling.BlockFamily, job.PieceReport{Name: tooling.PouringBox, Exit: down}, job.PieceReport{Name: tooling.PartingBoard, Exit: down}, job.PieceReport{Name: tooling.Master, Exit: down},
		job.PieceReport{Name: tooling.UpperBlock, Poured: true, Exit: up}, job.PieceReport{Name: tooling.LowerBlock, Poured: true, Exit: down})
	rep.Pours = []job.PourReport{{Piece: tooling.UpperBlock, ML: 150}, {Piece: tooling.LowerBlock, ML: 110}}
	rep.Mould.Opening = ""
	rep.Mould.Stages = []string{"the parting board leaves the master: free", "the master leaves the lower block: free", "the upper block leaves the casting: free"}
	rep.Mould.Features = []job.FeatureReport{{Name: "S1", Kind: "sprue", Piece: "upper"}, {Name: "V1", Kind: "vent", Piece: "upper"}}
	p := mustMake(t, rep, m, Bench{Silicone: silicone})
	checkPlan(t, p)
	inOrder(t, p, "release-parting-board-upper-block", "put-together-upper-block", "pour-upper-block", "cure-upper-block", "open-upper-block", "release-upper-silicone-block-lower-block",
		"put-together-lower-block", "pour-lower-block", "open-lower-block", "put-together", "pour", "open")
	say(t, p, map[string][2]string{
		"put-together-upper-block":   {"wax", "bolt"},
		"pour-upper-block":           {"up to the marks", "fill port"},
		"open-upper-block":           {"stay in the box", "The master leaves along"},
		"open":                       {"From the proof: the upper block leaves the casting: free.", "pouring box leaves along"},
		"release-master-lower-block": {"all of it", "the cavity"},
	})
}
