package choice

import (
	"context"
	"errors"
)

// proven ranks the ways and runs their builders in that order, until the first of them is one whose mould
// was built and holds, or no builder is left; with Options.ProveAll, all builders of ways that open. A way
// whose builder fails goes down with the others that do not open, and the next becomes the first.
func (c *comparison) proven(ctx context.Context) (*Table, error) {
	t := c.table()
	tried := 0
	for {
		r := c.toProve(t)
		if r == nil {
			return t, nil
		}
		c.opt.report("building "+r.Name, 0.4+0.5*float64(tried)/float64(len(families)))
		if err := c.prove(ctx, r); err != nil {
			return nil, err
		}
		tried++
		t = c.table()
	}
}

// toProve is the next row, in rank order, whose builder has not run yet and should.
func (c *comparison) toProve(t *Table) *Row {
	for i := range t.Rows {
		r := &t.Rows[i]
		if !r.Opens || r.Basis == Proven && !c.opt.ProveAll {
			return nil
		}
		if r.Basis == Estimated && c.opt.Provers[r.Key] != nil {
			return rowOf(c.rows, r.Key)
		}
		if !c.opt.ProveAll {
			return nil // nobody can build the best, and what comes after it is not asked for
		}
	}
	return nil
}

// prove runs the builder of a way that opens by the estimate.
func (c *comparison) prove(ctx context.Context, r *Row) error {
	part := c.judged[r.Key].stance
	words, ok, err := c.opt.Provers[r.Key](ctx, part.part, part.show, r.Direction)
	if err != nil {
		if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
			return err
		}
		words, ok = "the mould cannot be built: "+err.Error(), false
	}
	r.Opens, r.Basis = ok, Proven
	if !ok {
		r.Basis = Tried
	}
	r.Reasons = append(r.Reasons, words)
	r.Verdict = r.verdict()
	return nil
}
