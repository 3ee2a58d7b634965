package solid

// address is that of a C++ object on the module's heap.
type address uint32

// view is a typed window on the module's heap.
type view struct{ elem, ptr, n uint32 }

// undefined is JavaScript's value of that name.
type undefined struct{}

// object is a JavaScript object: a struct by field names.
type object map[string]any

// Handles below firstHandle are fixed values; embind counts handles in steps of two.
const (
	handleUndefined = 2
	handleNull      = 4
	handleTrue      = 6
	handleFalse     = 8
	firstHandle     = 10
)

type slot struct {
	v    any
	refs int
}

// handles keeps the reference-counted host values that C++ holds as emscripten::val.
type handles struct {
	slots map[uint32]*slot
	next  uint32
	freed []uint32
}

func newHandles() handles { return handles{slots: map[uint32]*slot{}, next: firstHandle} }

func (t *handles) add(v any) uint32 {
	switch v := v.(type) {
	case undefined:
		return handleUndefined
	case nil:
		return handleNull
	case bool:
		if v {
			return handleTrue
		}
		return handleFalse
	}
	var id uint32
	if n := len(t.freed); n > 0 {
		id, t.freed = t.freed[n-1], t.freed[:n-1]
	} else {
		id = t.next
		t.next += 2
	}
	t.slots[id] = &slot{v, 1}
	return id
}

func (t *handles) get(id uint32) any {
	switch id {
	case handleUndefined:
		return undefined{}
	case handleNull:
		return nil
	case handleTrue:
		return true
	case handleFalse:
		return false
	}
	s := t.slots[id]
	if s == nil {
		fail("deleted handle %d", id)
	}
	return s.v
}

func (t *handles) retain(id uint32) {
	if s := t.slots[id]; s != nil {
		s.refs++
	}
}

func (t *handles) release(id uint32) {
	s := t.slots[id]
	if s == nil {
		return
	}
	if s.refs--; s.refs == 0 {
		delete(t.slots, id)
		t.freed = append(t.freed, id)
	}
}

// take returns the value and releases the handle.
func (t *handles) take(id uint32) any {
	v := t.get(id)
	t.release(id)
	return v
}
