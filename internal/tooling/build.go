package tooling

import (
	"context"
	"fmt"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

// Progress is told the stage's name and the share of the whole that is done; nil is told nothing.
type Progress func(stage string, done float64)

func (p Progress) tell(stage string, done float64) {
	if p != nil {
		p(stage, done)
	}
}

// planned is a mould of any family whose plan stands.
type planned interface {
	cut(context.Context, *solid.Kernel) error
	verify(context.Context) error
}

// buildPlanned cuts the pieces of a planned mould and checks them.
func buildPlanned(ctx context.Context, pool *solid.Pool, b planned, p Progress) error {
	if err := pool.Do(ctx, func(k *solid.Kernel) error { return b.cut(ctx, k) }); err != nil {
		return err
	}
	if err := b.verify(ctx); err != nil {
		return err
	}
	p.tell("done", 1)
	return nil
}

// loader brings meshes into a kernel; after the first that fails it gives nil, and keeps the error.
type loader struct {
	k   *solid.Kernel
	err error
}

func (l *loader) load(what string, m *mesh.Mesh) *solid.Solid {
	if l.err != nil {
		return nil
	}
	s, err := l.k.FromMesh(m)
	if err != nil {
		l.err = fmt.Errorf("tooling: %s: %w", what, err)
	}
	return s
}

// oneBody says whether a part is one: one sprue does not fill two, and a void inside has no mould.
func oneBody(part *mesh.Mesh) error {
	if _, n := part.Components(); n > 1 {
		return fmt.Errorf("%w: its surface falls into %d closed shells; mould each body on its own, and fill a void in the model", ErrBodies, n)
	}
	return nil
}
