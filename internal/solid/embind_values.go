package solid

import "math"

// caller is a way in which C++ calls a method of a host value, or casts one.
type caller struct {
	ret  uint32
	args []uint32
	kind uint32
}

// Kinds of caller.
const (
	callMethod = 1
	callCast   = 3
)

// length is the JavaScript property of that name.
func length(v any) (int, bool) {
	switch v := v.(type) {
	case []float32:
		return len(v), true
	case []float64:
		return len(v), true
	case []uint32:
		return len(v), true
	case view:
		return int(v.n), true
	}
	return 0, false
}

func property(o, key any) any {
	k, _ := key.(string)
	if o, ok := o.(object); ok {
		if v, ok := o[k]; ok {
			return v
		}
		return undefined{}
	}
	if n, ok := length(o); ok && k == "length" {
		return float64(n)
	}
	return undefined{}
}

// onHostValue runs a caller on the value of a handle.
func (h *host) onHostValue(id, handle, name, args uint32) float64 {
	c := h.callers[id]
	argv := make([]any, len(c.args))
	for i, t := range c.args {
		argv[i] = h.readArg(h.typ(t), args+8*uint32(i))
	}
	var result any
	switch c.kind {
	case callCast:
		result = argv[0]
	case callMethod:
		result = h.viewMethod(h.handles.get(handle), cString(h.mod.Memory(), name), argv)
	default:
		fail("unsupported call kind %d", c.kind)
	}
	switch t := h.typ(c.ret); t.kind {
	case kindVoid:
		return 0
	case kindValue:
		return float64(h.handles.add(result))
	case kindBool, kindInt, kindFloat:
		if _, ok := result.(undefined); ok {
			return math.NaN()
		}
		return number(result)
	default:
		fail("unsupported call result %s", t.name)
	}
	return 0
}

// viewMethod is the part of a typed array's interface that the library uses.
func (h *host) viewMethod(recv any, name string, argv []any) any {
	v, ok := recv.(view)
	switch {
	case ok && name == "slice":
		return h.load(v)
	case ok && name == "set" && len(argv) > 0:
		h.store(v, argv[0])
		return undefined{}
	}
	fail("no method %q on %T", name, recv)
	return nil
}

// sameValue is JavaScript's == on what the library compares.
func sameValue(a, b any) bool {
	switch x := a.(type) {
	case undefined, nil:
		switch b.(type) {
		case undefined, nil:
			return true
		}
		return false
	case float64:
		y, ok := b.(float64)
		return ok && x == y
	case string:
		y, ok := b.(string)
		return ok && x == y
	case bool:
		y, ok := b.(bool)
		return ok && x == y
	}
	return false
}
