package solid

import (
	"context"
	"errors"
	"fmt"

	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/experimental/table"
)

// This file and embind_*.go are a host for "embind", the C++ bindings of emscripten: at start the
// module calls imports (imports.go) that describe its types, classes and functions; from then on the
// host calls them by name and converts values both ways.

// kind is how a C++ type registered through embind crosses the border.
type kind int

const (
	kindVoid kind = iota
	kindBool
	kindInt
	kindFloat
	kindValue // emscripten::val: a handle on a host value
	kindView  // a typed window on the heap
	kindString
	kindEnum
	kindObject // a struct passed by fields
	kindClass  // a pointer to a C++ object
)

// cxxType is a registered C++ type.
type cxxType struct {
	kind   kind
	name   string
	size   uint32
	signed bool
	elem   uint32            // kindView: index into embind's list of typed arrays
	enum   map[uint32]string // kindEnum
	object *valueObject      // kindObject
	class  *class            // kindClass: by value, pointer or const pointer
}

// tableFunc is a function of the module's table. The first letter of sig is the result.
type tableFunc struct {
	sig string
	idx uint32
}

type field struct {
	name           string
	getType        uint32
	getter         tableFunc
	getCtx, setCtx uint32
	setType        uint32
	setter         tableFunc
}

type valueObject struct {
	ctor, dtor tableFunc
	fields     []field
}

// binding is a callable C++ function, constructor or method.
type binding struct {
	name    string
	types   []uint32 // type ids: result, then [this,] parameters
	invoker tableFunc
	ctx     uint32
}

type class struct {
	name    string
	dtor    tableFunc
	ctors   map[int]*binding // by number of arguments
	methods map[string]*binding
}

// host is the state behind the imports of one module instance.
type host struct {
	ctx     context.Context // of the operation under way; see resize
	mod     api.Module
	maxHeap uint64 // bytes; growth beyond it is refused
	starved bool   // growth was refused; what the library then fails with says little
	types   map[uint32]*cxxType
	objects map[uint32]*valueObject
	objName map[uint32]string
	classes map[string]*class
	funcs   map[string]*binding
	cached  map[uint32]api.Function
	handles handles
	callers []caller
	live    int // C++ objects that the host owns
}

func newHost(maxHeap uint64) *host {
	return &host{
		ctx: context.Background(), maxHeap: maxHeap,
		types: map[uint32]*cxxType{}, objects: map[uint32]*valueObject{}, objName: map[uint32]string{},
		classes: map[string]*class{}, funcs: map[string]*binding{}, cached: map[uint32]api.Function{},
		handles: newHandles(),
	}
}

// bindError is a mismatch between this host and the module: a fault in this package.
type bindError string

func (e bindError) Error() string { return "binding: " + string(e) }

// fail panics: it is called below WebAssembly frames, which only a panic can unwind. operation.run
// recovers it.
func fail(format string, a ...any) { panic(bindError(fmt.Sprintf(format, a...))) }

// Failures that the module itself reports.
var (
	errThrown  = errors.New("exception in the library")
	errAborted = errors.New("the library aborted")
)

var wasmTypes = map[byte]api.ValueType{
	'i': api.ValueTypeI32, 'p': api.ValueTypeI32, 'j': api.ValueTypeI64,
	'f': api.ValueTypeF32, 'd': api.ValueTypeF64,
}

// valueTypes translates signature letters; v (void) has no type.
func valueTypes(sig string) (out []api.ValueType) {
	for i := range len(sig) {
		if t, ok := wasmTypes[sig[i]]; ok {
			out = append(out, t)
		}
	}
	return out
}

// call runs a table function. The runtime gets no context of ours: it would not heed it.
func (h *host) call(f tableFunc, args ...uint64) uint64 {
	g, ok := h.cached[f.idx]
	if !ok {
		g = table.LookupFunction(h.mod, 0, f.idx, valueTypes(f.sig[1:]), valueTypes(f.sig[:1]))
		h.cached[f.idx] = g
	}
	r, err := g.Call(context.Background(), args...)
	if err != nil {
		panic(err)
	}
	if len(r) == 0 {
		return 0
	}
	return r[0]
}

func (h *host) typ(id uint32) *cxxType {
	t := h.types[id]
	if t == nil {
		fail("unregistered type %#x", id)
	}
	return t
}

// invoke calls a binding with Go values and returns its result as a Go value.
func (h *host) invoke(b *binding, args ...any) any {
	params := b.types[1:]
	if len(params) != len(args) {
		fail("%s takes %d arguments, got %d", b.name, len(params), len(args))
	}
	wire := make([]uint64, 1, len(args)+1)
	wire[0] = uint64(b.ctx)
	var release []func()
	for i, id := range params {
		w, r := h.toWire(h.typ(id), b.invoker.sig[i+2], args[i])
		wire = append(wire, w)
		if r != nil {
			release = append(release, r)
		}
	}
	result := h.call(b.invoker, wire...)
	for _, r := range release {
		r()
	}
	return h.fromWire(h.typ(b.types[0]), b.invoker.sig[0], result)
}

func (h *host) class(name string) *class {
	c := h.classes[name]
	if c == nil {
		fail("no class %s", name)
	}
	return c
}

func (h *host) construct(class string, args ...any) address {
	b := h.class(class).ctors[len(args)]
	if b == nil {
		fail("no constructor %s/%d", class, len(args))
	}
	return h.invoke(b, args...).(address)
}

func (h *host) method(class, name string, args ...any) any {
	b := h.class(class).methods[name]
	if b == nil {
		fail("no method %s.%s", class, name)
	}
	return h.invoke(b, args...)
}

func (h *host) function(name string, args ...any) any {
	b := h.funcs[name]
	if b == nil {
		fail("no function %s", name)
	}
	return h.invoke(b, args...)
}

func (h *host) destroy(class string, a address) {
	h.call(h.class(class).dtor, uint64(a))
	h.live--
}
