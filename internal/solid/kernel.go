package solid

import (
	"context"
	"fmt"
	"sync"
)

// Names of the library's classes.
const (
	clsManifold  = "Manifold"
	clsRegion    = "CrossSection"
	clsManifolds = "Vector_manifold"
	clsRegions   = "Vector_crossSection"
	clsPoints3   = "Vector_vec3"
	clsPoints2   = "Vector_vec2"
	clsLoops     = "Vector2_vec2"
	clsTriples   = "Vector_ivec3"
)

// Kernel makes solids and regions. Pool.Do lends one to a function; it is of no use afterwards. Its
// methods, and those of what it makes, may be called from several goroutines; they run one at a time
// (but then the order in which solids are made, and with it the order of facets, is not fixed).
type Kernel struct {
	mu     sync.Mutex
	ctx    context.Context
	in     *instance // nil once Do has returned
	solids []*Solid
	plane  []*Region
}

// Solid is a closed body, possibly empty, possibly of several parts. It never changes.
type Solid struct {
	k *Kernel
	a address // 0 once freed
}

// do runs f, which may panic, on the library.
func (k *Kernel) do(op string, f func(h *host) error) error {
	if k == nil {
		return ErrFreed
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.in == nil {
		return fmt.Errorf("solid: %s: %w", op, ErrFreed)
	}
	var ferr error
	if err := k.in.run(k.ctx, op, func(h *host) { ferr = f(h) }); err != nil {
		return err
	}
	if ferr != nil {
		return fmt.Errorf("solid: %s: %w", op, ferr)
	}
	return nil
}

// end frees everything made through k and cuts it off from the instance.
func (k *Kernel) end() {
	k.mu.Lock()
	defer k.mu.Unlock()
	// The caller's context may be done by now, and freeing must still happen.
	_ = k.in.run(context.Background(), "free", func(h *host) {
		for _, s := range k.solids {
			s.destroy(h)
		}
		for _, r := range k.plane {
			r.destroy(h)
		}
	})
	k.in, k.solids, k.plane = nil, nil, nil
}

func (s *Solid) destroy(h *host) {
	if s.a != 0 {
		h.destroy(clsManifold, s.a)
		s.a = 0
	}
}

// Free releases the solid's memory before Do ends. It is safe to call twice, and on nil.
func (s *Solid) Free() {
	if s == nil {
		return
	}
	_ = s.k.do("free", func(h *host) error { s.destroy(h); return nil })
}

// usable reports why s cannot be an operand on k.
func (s *Solid) usable(k *Kernel) error {
	switch {
	case s == nil || s.a == 0:
		return ErrFreed
	case s.k != k:
		return ErrForeign
	}
	return nil
}

// own wraps a body of the library, or frees it and reports its status. Asking for the status makes
// the library compute what it had put off, so that errors and time belong to the call that caused
// them, and results do not depend on how calls are combined later.
func (k *Kernel) own(h *host, a address) (*Solid, error) {
	if st := h.method(clsManifold, "status", a); st != "NoError" {
		h.destroy(clsManifold, a)
		return nil, StatusError(fmt.Sprint(st))
	}
	s := &Solid{k, a}
	k.solids = append(k.solids, s)
	return s, nil
}

// build runs f and owns the body it returns.
func (k *Kernel) build(op string, f func(h *host) (address, error)) (s *Solid, err error) {
	err = k.do(op, func(h *host) error {
		a, err := f(h)
		if err == nil {
			s, err = k.own(h, a)
		}
		return err
	})
	return s, err
}

// derive makes a solid by a method of s.
func (s *Solid) derive(op, method string, args ...any) (*Solid, error) {
	if s == nil {
		return nil, fmt.Errorf("solid: %s: %w", op, ErrFreed)
	}
	return s.k.build(op, func(h *host) (address, error) {
		if err := s.usable(s.k); err != nil {
			return 0, err
		}
		return h.method(clsManifold, method, append([]any{s.a}, args...)...).(address), nil
	})
}

// ask runs a method of s and hands its result to take.
func (s *Solid) ask(op, method string, take func(v any), args ...any) error {
	if s == nil {
		return fmt.Errorf("solid: %s: %w", op, ErrFreed)
	}
	return s.k.do(op, func(h *host) error {
		if err := s.usable(s.k); err != nil {
			return err
		}
		take(h.method(clsManifold, method, append([]any{s.a}, args...)...))
		return nil
	})
}
