package tooling

import (
	"fmt"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// Set is a mould of any family with the stages of its making and use.
type Set struct {
	*Mould           // Pieces holds every body, poured ones too; Ledger is that of the casting
	Stages  []Stage  // every parting of two bodies, in the order in which they happen at the bench
	Pours   []Pour   // bodies poured before the first casting, in order; none where all is printed
	Casting []string // the pieces that stand round the casting; of those that leave the same way the inner one first
	// Release is how soft bodies let go: nil where nothing has to give way, or without the materials to judge it by.
	Release *opening.Release
	Cut     *Cut // how a block of silicone is cut open; nil for all others
	// CastML is what one casting takes, without surplus; OverflowML what the overflow holds beside it.
	CastML, OverflowML float64
}

// Pour is one body of a mould that is poured, not printed.
type Pour struct {
	Piece  string       // its name in Pieces
	ML     float64      // what is poured for it, ports and vents included, without surplus
	In     []string     // the pieces that enclose it meanwhile, in the order in which they come apart
	Ledger []LedgerLine // of the block meanwhile
	// Shift moves pieces, by name, from their places in the closed mould to where they stand meanwhile.
	Shift map[string]r3.Vec
}

// Stage is one parting of two bodies in the life of a mould.
type Stage struct {
	Name          string
	Moving, Fixed string
	// Rigid bodies must part by the exact proof. Of the others one is soft: a catch is let go by strain,
	// if at all, which Set.Release judges.
	Rigid   bool
	Verdict *opening.Verdict
}

// Words says the stage in a line.
func (s Stage) Words() string { return s.Name + ": " + s.found() }

// found says what came of it; a check of the stage has its name already.
func (s Stage) found() string {
	if s.Verdict.State != opening.Blocked {
		return s.Verdict.State.String()
	}
	w := fmt.Sprintf("caught by %.2f ± %.2f mm over %.1f mm² at %s", s.Verdict.OverlapDepthMM, s.Verdict.OverlapDepthErrorMM,
		s.Verdict.OverlapAreaMM2, placeWords(s.Verdict.At))
	if !s.Rigid {
		w += "; the soft body has to give way"
	}
	return w
}
