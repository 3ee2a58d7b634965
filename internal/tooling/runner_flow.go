package tooling

import (
	"math"
)

// flowNode is a place in the runner where it forks, with the stretch that leads there. Resistances are
// those of Hagen and Poiseuille's law without the viscosity: Δp = μ·Q·R, R in 1/mm³.
type flowNode struct {
	run  float64 // resistance of the stretch from the node before
	kids []*flowNode
	gate *flowGate // an end: into a cavity
}

// flowGate is a way into one cavity: a branch of the runner, and the gate proper, whose width can be set.
type flowGate struct {
	branch   float64 // resistance
	lengthMM float64 // of the gate
	depthMM  float64
	draftDeg float64
	widthMM  float64
	// conducts is ductMM4 at the width conductsAt: it is asked for time and again.
	conducts, conductsAt float64
}

func (g *flowGate) resistance() float64 {
	if g.conductsAt != g.widthMM {
		g.conducts, g.conductsAt = ductMM4(g.widthMM, g.depthMM, g.draftDeg), g.widthMM
	}
	return g.branch + g.lengthMM/g.conducts
}

// gates lists the ends in the order of the tree.
func (n *flowNode) gates() (out []*flowGate) {
	if n.gate != nil {
		return []*flowGate{n.gate}
	}
	for _, k := range n.kids {
		out = append(out, k.gates()...)
	}
	return out
}

// drops is the pressure lost up to each end's branch, over μ, when every cavity takes a unit of flow.
func (n *flowNode) drops(before float64, out map[*flowGate]float64) {
	at := before + n.run*float64(len(n.gates()))
	if n.gate != nil {
		out[n.gate] = at
		return
	}
	for _, k := range n.kids {
		k.drops(at, out)
	}
}

// balance narrows gates until every cavity takes the same flow: where all take the same, the pressure lost
// on the way to each is known, and the gate makes up what the worst way loses more. Gates are no narrower
// than leastMM; one that should be is left there, and the shares then say so.
func (n *flowNode) balance(leastMM float64) {
	lost := map[*flowGate]float64{}
	n.drops(0, lost)
	gates := n.gates()
	worst := 0.0
	for _, g := range gates {
		worst = max(worst, lost[g]+g.resistance())
	}
	type alike struct{ lost, branch, length, depth, width float64 }
	known := map[alike]float64{}
	for _, g := range gates {
		key := alike{lost[g], g.branch, g.lengthMM, g.depthMM, g.widthMM}
		if w, ok := known[key]; ok {
			g.widthMM = w
			continue
		}
		// Narrower resists more. Halving a bracket of 10 mm to a micron takes some 14 rounds.
		lo, hi := min(leastMM, g.widthMM), g.widthMM
		for hi-lo > gateStepMM/4 {
			if g.widthMM = (lo + hi) / 2; lost[g]+g.resistance() > worst {
				lo = g.widthMM
			} else {
				hi = g.widthMM
			}
		}
		g.widthMM = math.Round(hi/gateStepMM) * gateStepMM
		known[key] = g.widthMM
	}
}

// gateStepMM is the step of a gate's width: finer than any printer.
const gateStepMM = 0.001

// conductance is the flow through all that hangs on the node, for a unit of pressure over μ.
func (n *flowNode) conductance() float64 {
	if n.gate != nil {
		return 1 / (n.run + n.gate.resistance())
	}
	sum := 0.0
	for _, k := range n.kids {
		sum += k.conductance()
	}
	return 1 / (n.run + 1/sum)
}

// flows are what each end takes for a unit of pressure over μ at the root, with the gates as they are.
func (n *flowNode) flows(pressure float64, out map[*flowGate]float64) {
	q := pressure * n.conductance()
	if n.gate != nil {
		out[n.gate] = q
		return
	}
	for _, k := range n.kids {
		k.flows(pressure-q*n.run, out)
	}
}

// spreadPct is how far the largest and the smallest flow into a cavity lie apart, % of the mean.
func (n *flowNode) spreadPct() float64 {
	q := map[*flowGate]float64{}
	n.flows(1, q)
	least, most, sum := math.Inf(1), 0.0, 0.0
	for _, g := range n.gates() {
		least, most, sum = min(least, q[g]), max(most, q[g]), sum+q[g]
	}
	return 100 * (most - least) * float64(len(q)) / sum
}
