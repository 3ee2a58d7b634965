package opening

import (
	"context"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Motion is one step of opening a mould: a piece leaves along a direction and takes with it the
// bodies stuck to it.
type Motion struct {
	Piece     string
	Direction r3.Vec
	Carries   []string
}

// moved lists what travels in the motion, the piece first.
func (m Motion) moved() []string { return append([]string{m.Piece}, m.Carries...) }

// Step is a motion and its verdict for each moving body against each body still there.
type Step struct {
	Motion   Motion
	State    State // the worst of the verdicts
	Verdicts []*Verdict
}

// Proof is the outcome of a sequence of motions.
type Proof struct {
	State State // the worst of the steps
	Steps []Step
}

// Prove follows the motions in order. Each moves its piece and what it carries, as one, against
// every body still there, and takes them away. Blocked motions are reported and taken as done, so
// that one run names every lock.
func Prove(ctx context.Context, bodies []Body, order []Motion, opt Options) (*Proof, error) {
	c, err := NewChecker(bodies, opt)
	if err != nil {
		return nil, err
	}
	return c.Prove(ctx, order)
}

// Prove is the function Prove on prepared bodies.
func (c *Checker) Prove(ctx context.Context, order []Motion) (*Proof, error) {
	return c.prove(ctx, c.names, order, c.opt.Progress)
}

// pairing is one moving and one fixed body of a step.
type pairing struct {
	step          int
	moving, fixed string
}

func (c *Checker) prove(ctx context.Context, names []string, order []Motion, progress func(float64)) (*Proof, error) {
	pairs, err := pairings(names, order)
	if err != nil {
		return nil, err
	}
	p := &Proof{Steps: make([]Step, len(order))}
	for i, m := range order {
		p.Steps[i].Motion = m
	}
	for i, q := range pairs {
		n := float64(len(pairs))
		v, err := c.check(ctx, q.moving, q.fixed, order[q.step].Direction, share(progress, float64(i)/n, float64(i+1)/n))
		if err != nil {
			return nil, err
		}
		s := &p.Steps[q.step]
		s.Verdicts = append(s.Verdicts, v)
		s.State = max(s.State, v.State)
		p.State = max(p.State, v.State)
	}
	return p, nil
}

// pairings lists what moves past what, and checks that every motion names bodies still there.
func pairings(names []string, order []Motion) ([]pairing, error) {
	left := slices.Clone(names)
	var out []pairing
	for i, m := range order {
		moved := m.moved()
		for k, name := range moved {
			at := slices.Index(left, name)
			switch {
			case slices.Contains(moved[:k], name):
				return nil, fmt.Errorf("opening: motion %d names %q twice", i+1, name)
			case at < 0 && slices.Contains(names, name):
				return nil, fmt.Errorf("opening: motion %d moves %q, which an earlier motion took away", i+1, name)
			case at < 0:
				return nil, fmt.Errorf("opening: motion %d moves %q, but there is no body of that name; there are %q", i+1, name, names)
			}
			left = slices.Delete(left, at, at+1)
		}
		for _, name := range moved {
			for _, fixed := range left {
				out = append(out, pairing{step: i, moving: name, fixed: fixed})
			}
		}
	}
	return out, nil
}

// Case is a sequence with the casting stuck to one piece.
type Case struct {
	StuckTo string
	Proof   *Proof
}

// Comparison is the same sequence empty and with the casting inside.
type Comparison struct {
	Casting string
	Empty   *Proof
	Filled  []Case // one for each piece the casting may stick to, in the order of the bodies
}

// State is the worst of the empty sequence and of the best case with the casting inside: a mould
// works if the casting comes out of it some way. Which piece a casting sticks to is not in the
// maker's hand, so look at every case.
func (c *Comparison) State() State {
	best := Blocked
	for _, f := range c.Filled {
		best = min(best, f.Proof.State)
	}
	return max(best, c.Empty.State)
}

// ProveWithAndWithout runs the motions without the casting, and then with the casting stuck to each
// other body in turn. Stuck to a piece, the casting travels with it, and is pulled off it last: back
// along the piece's own motion or, from a piece that never moves, along the last motion of the
// order. Motions and carries of the casting itself in the order are left out.
func ProveWithAndWithout(ctx context.Context, bodies []Body, casting string, order []Motion, opt Options) (*Comparison, error) {
	c, err := NewChecker(bodies, opt)
	if err != nil {
		return nil, err
	}
	return c.ProveWithAndWithout(ctx, casting, order)
}

// ProveWithAndWithout is the function ProveWithAndWithout on prepared bodies.
func (c *Checker) ProveWithAndWithout(ctx context.Context, casting string, order []Motion) (*Comparison, error) {
	if _, err := c.body(casting); err != nil {
		return nil, err
	}
	pieces := without(c.names, casting)
	order = emptied(order, casting)
	if len(order) == 0 {
		return nil, fmt.Errorf("opening: no motion is left once %q is taken out", casting)
	}
	out := &Comparison{Casting: casting}
	runs := float64(len(pieces) + 1)
	var err error
	if out.Empty, err = c.prove(ctx, pieces, order, share(c.opt.Progress, 0, 1/runs)); err != nil {
		return nil, err
	}
	for i, piece := range pieces {
		at := float64(i + 1)
		p, err := c.proveStuck(ctx, casting, piece, order, share(c.opt.Progress, at/runs, (at+1)/runs))
		if err != nil {
			return nil, err
		}
		out.Filled = append(out.Filled, Case{StuckTo: piece, Proof: p})
	}
	return out, nil
}

func without(names []string, drop string) []string {
	return slices.DeleteFunc(slices.Clone(names), func(n string) bool { return n == drop })
}

func emptied(order []Motion, casting string) []Motion {
	var out []Motion
	for _, m := range order {
		if m.Piece != casting {
			m.Carries = without(m.Carries, casting)
			out = append(out, m)
		}
	}
	return out
}

func (c *Checker) proveStuck(ctx context.Context, casting, piece string, order []Motion, progress func(float64)) (*Proof, error) {
	order = slices.Clone(order)
	pull := order[len(order)-1].Direction
	for i, m := range order {
		if slices.Contains(m.moved(), piece) {
			order[i].Carries = append(slices.Clone(m.Carries), casting)
			pull = r3.Scale(-1, m.Direction)
		}
	}
	p, err := c.prove(ctx, c.names, order, share(progress, 0, 0.7))
	if err != nil {
		return nil, err
	}
	v, err := c.check(ctx, casting, piece, pull, share(progress, 0.7, 1))
	if err != nil {
		return nil, err
	}
	last := Step{Motion: Motion{Piece: casting, Direction: v.Direction}, State: v.State, Verdicts: []*Verdict{v}}
	p.Steps = append(p.Steps, last)
	p.State = max(p.State, v.State)
	return p, nil
}
