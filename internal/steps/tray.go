package steps

import (
	"fmt"
	"strings"

	"mouldwright/internal/tooling"
)

// carried says whether a carrier is over-moulded.
func (k *maker) carried() bool {
	for _, p := range k.rep.Mould.Pieces {
		if p.Name == tooling.CarrierPiece {
			return true
		}
	}
	return false
}

// hang readies the carrier of an open tray and hangs it on the rim, before anything is mixed.
func (k *maker) hang() {
	if !k.stage.brim || !k.carried() {
		return
	}
	k.add(Step{ID: "carrier", Phase: Set, Piece: tooling.CarrierPiece, Hard: true, Title: "Ready the carrier: no release on it",
		Words: []string{"One carrier for each casting. Sand all that the resin will touch with 120 grit, blow the holes out, wipe with alcohol, let it dry. Do not touch it with bare fingers after that.",
			"Keep it away from the release spray: what is on it the resin does not hold to."}, Why: "the casting holds to the carrier only where it is rough and clean", Source: practice})
	k.add(Step{ID: "hang", Phase: Set, Piece: tooling.CarrierPiece, Hard: true, Title: "Try the carrier in the tray, and set the clamps out",
		Words: append([]string{fmt.Sprintf("The feet of %s must sit on the floors of their seats, without rocking. Check with the level on its top, then take it out again.", listed(namesOf(k.features("tab"))))}, k.notes("lifts the carrier")...)})
}

// notes are the report's warnings that hold some words.
func (k *maker) notes(holding string) (out []string) {
	for _, w := range k.rep.Warnings {
		if strings.Contains(w, holding) {
			out = append(out, sentence(w))
		}
	}
	return out
}

// brim fills an open tray: the resin first, then the carrier from above, so that air goes out before it.
func (k *maker) brim() []string {
	out := []string{"Into the lowest place, a thin stream; brush it into sharp corners first."}
	if k.carried() {
		out = append(out, "Fill to two thirds. Lower the carrier at a slant, one tab first, so that the air runs out from under it; seat all tabs and clamp them. Resin must rise in every hole of it.",
			"Top up beside the carrier until the resin stands level with the brim.")
	} else {
		out = append(out, "Stop when it stands level with the brim.")
	}
	return append(out, "What runs over goes into the moat. Burst bubbles at the top with a quick pass of warm air; leave it alone then.")
}

// trayTrim is the trimming of a casting that was poured open.
func (k *maker) trayTrim() Step {
	s := Step{ID: "trim", Phase: Finish, Title: "Trim", Words: []string{fmt.Sprintf("Pull the cured overflow off; cut the film at the brim off flush, along %.0f mm of border, with a fresh blade.", k.rep.Mould.LineMM)}}
	if tabs := namesOf(k.features("tab")); len(tabs) > 0 {
		s.Title = "Trim, and snap the tabs off"
		s.Words = append(s.Words, "Bend "+listed(tabs)+" up and down once or twice at their score lines: they snap. File the stubs flush.")
		s.Cautions = []string{"Tabs fly when they snap: eye protection, and hold them while you bend."}
	}
	return s
}

// jig adds to the trimming what the job's jig does for it.
func (k *maker) jig(s *Step) {
	if k.rep.Trim == nil {
		return
	}
	s.Words = append([]string{"Lay the casting in the trim nest and the trim cap on it, clamp both, and draw a blade laid flat along the slot."}, s.Words...)
	s.Cautions = append(s.Cautions, "A blade cuts fingers sooner than flash: a cut-proof glove on the hand that holds; draw along the slot, never push inward.")
}
