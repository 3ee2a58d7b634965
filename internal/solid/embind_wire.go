package solid

import (
	"context"
	"encoding/binary"
	"math"
)

// number converts what counts as a number in the bindings.
func number(v any) float64 {
	switch v := v.(type) {
	case float64:
		return v
	case int:
		return float64(v)
	case uint32:
		return float64(v)
	case address:
		return float64(v)
	case bool:
		if v {
			return 1
		}
		return 0
	}
	fail("%T is not a number", v)
	return 0
}

// toWire converts a Go value to the wire form of t; letter is that of the signature. The function it
// returns, when not nil, releases what the conversion allocated.
func (h *host) toWire(t *cxxType, letter byte, v any) (uint64, func()) {
	switch t.kind {
	case kindValue:
		return uint64(h.handles.add(v)), nil
	case kindClass:
		a, ok := v.(address)
		if !ok || a == 0 {
			fail("%T is not a %s", v, t.name)
		}
		return uint64(a), nil
	case kindObject:
		o, ok := v.(object)
		if !ok {
			fail("%T is not a %s", v, t.name)
		}
		return h.objectToWire(t, o)
	case kindBool, kindInt, kindFloat, kindEnum:
		n := number(v)
		switch letter {
		case 'd':
			return math.Float64bits(n), nil
		case 'f':
			return uint64(math.Float32bits(float32(n))), nil
		case 'j':
			return uint64(int64(n)), nil
		}
		return uint64(uint32(int64(n))), nil
	}
	fail("cannot pass type %s", t.name)
	return 0, nil
}

func (h *host) objectToWire(t *cxxType, o object) (uint64, func()) {
	p := h.call(t.object.ctor)
	for _, f := range t.object.fields {
		// A setter's signature is result, context, struct, value.
		w, release := h.toWire(h.typ(f.setType), f.setter.sig[3], o[f.name])
		h.call(f.setter, uint64(f.setCtx), p, w)
		if release != nil {
			release()
		}
	}
	return p, func() { h.call(t.object.dtor, p) }
}

// fromWire converts a result; the host owns what it returns.
func (h *host) fromWire(t *cxxType, letter byte, w uint64) any {
	switch t.kind {
	case kindVoid:
		return nil
	case kindBool:
		return uint32(w) != 0
	case kindInt, kindFloat:
		switch letter {
		case 'd':
			return math.Float64frombits(w)
		case 'f':
			return float64(math.Float32frombits(uint32(w)))
		case 'j':
			return float64(int64(w))
		}
		if t.signed {
			return float64(int32(w))
		}
		return float64(uint32(w))
	case kindEnum:
		return t.enum[uint32(w)]
	case kindValue:
		return h.handles.take(uint32(w))
	case kindString:
		return h.takeString(uint32(w))
	case kindObject:
		o := object{}
		for _, f := range t.object.fields {
			o[f.name] = h.fromWire(h.typ(f.getType), f.getter.sig[0], h.call(f.getter, uint64(f.getCtx), w))
		}
		h.call(t.object.dtor, w)
		return o
	case kindClass:
		h.live++
		return address(w)
	}
	fail("cannot receive type %s", t.name)
	return nil
}

// takeString reads a length-prefixed string and frees it.
func (h *host) takeString(p uint32) string {
	m := h.mod.Memory()
	s := string(bytesAt(m, p+4, u32(m, p)))
	if _, err := h.mod.ExportedFunction(exportFree).Call(context.Background(), uint64(p)); err != nil {
		panic(err)
	}
	return s
}

// readArg decodes one argument of a call that C++ makes on a host value, from its 8-byte slot.
func (h *host) readArg(t *cxxType, p uint32) any {
	m := h.mod.Memory()
	switch t.kind {
	case kindView:
		return view{t.elem, u32(m, p+4), u32(m, p)}
	case kindValue:
		return h.handles.take(u32(m, p))
	case kindClass:
		h.live++ // the object was made for the host
		return address(u32(m, p))
	case kindBool:
		return bytesAt(m, p, 1)[0] != 0
	case kindFloat:
		if t.size == 4 {
			return float64(math.Float32frombits(u32(m, p)))
		}
		return float(bytesAt(m, p, 8))
	case kindInt:
		switch {
		case t.size == 4 && t.signed:
			return float64(int32(u32(m, p)))
		case t.size == 4:
			return float64(u32(m, p))
		case t.size == 8:
			return float64(int64(binary.LittleEndian.Uint64(bytesAt(m, p, 8))))
		}
	}
	fail("cannot read argument of type %s", t.name)
	return nil
}

// Indexes of embind's typed arrays.
const (
	elemInt32   = 4
	elemUint32  = 5
	elemFloat32 = 6
	elemFloat64 = 7
)

// load copies a heap view into a Go slice.
func (h *host) load(v view) any {
	m := h.mod.Memory()
	switch v.elem {
	case 0, 1, 2, 3: // bytes and 16-bit: not used by what this package reads
		return undefined{}
	case elemInt32, elemUint32:
		b, out := bytesAt(m, v.ptr, 4*v.n), make([]uint32, v.n)
		for i := range out {
			out[i] = binary.LittleEndian.Uint32(b[4*i:])
		}
		return out
	case elemFloat32:
		b, out := bytesAt(m, v.ptr, 4*v.n), make([]float32, v.n)
		for i := range out {
			out[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
		}
		return out
	case elemFloat64:
		b, out := bytesAt(m, v.ptr, 8*v.n), make([]float64, v.n)
		for i := range out {
			out[i] = float(b[8*i:])
		}
		return out
	}
	fail("unsupported typed array %d", v.elem)
	return nil
}

// store copies a Go slice into a heap view of the same length.
func (h *host) store(v view, src any) {
	m := h.mod.Memory()
	switch s := src.(type) {
	case []uint32:
		if (v.elem == elemUint32 || v.elem == elemInt32) && int(v.n) == len(s) {
			b := bytesAt(m, v.ptr, 4*v.n)
			for i, x := range s {
				binary.LittleEndian.PutUint32(b[4*i:], x)
			}
			return
		}
	case []float32:
		if v.elem == elemFloat32 && int(v.n) == len(s) {
			b := bytesAt(m, v.ptr, 4*v.n)
			for i, x := range s {
				binary.LittleEndian.PutUint32(b[4*i:], math.Float32bits(x))
			}
			return
		}
	case []float64:
		if v.elem == elemFloat64 && int(v.n) == len(s) {
			b := bytesAt(m, v.ptr, 8*v.n)
			for i, x := range s {
				putFloat(b[8*i:], x)
			}
			return
		}
	}
	fail("cannot store %T in typed array %d of %d", src, v.elem, v.n)
}
