package solid

import (
	"context"
	"math"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
)

// importModule is the name under which the library imports everything.
const importModule = "a"

// importDef is one import: sig has the result first; args are the parameters as 32-bit words, stack
// the raw ones, whose first word takes the result.
type importDef struct {
	name, sig string
	f         func(m api.Memory, args []uint32, stack []uint64)
}

// imports builds the host module. The letters are those of manifold-3d 3.5.4's minified import table
// (wasmImports in its manifold.js).
func (h *host) imports(rt wazero.Runtime) wazero.HostModuleBuilder {
	b := rt.NewHostModuleBuilder(importModule)
	for _, group := range [][]importDef{
		h.runtimeImports(), h.scalarImports(), h.structImports(), h.classImports(), h.valueImports(),
	} {
		for _, d := range group {
			f := func(_ context.Context, mod api.Module, stack []uint64) {
				args := make([]uint32, len(d.sig)-1)
				for i := range args {
					args[i] = uint32(stack[i])
				}
				h.mod = mod
				d.f(mod.Memory(), args, stack)
			}
			b = b.NewFunctionBuilder().WithGoModuleFunction(api.GoModuleFunc(f),
				valueTypes(d.sig[1:]), valueTypes(d.sig[:1])).Export(d.name)
		}
	}
	return b
}

func (h *host) register(id uint32, t cxxType) { h.types[id] = &t }

func function(m api.Memory, sig, idx uint32) tableFunc { return tableFunc{cString(m, sig), idx} }

// runtimeImports: failure and memory.
func (h *host) runtimeImports() []importDef {
	return []importDef{
		{"l", "viii", func(api.Memory, []uint32, []uint64) { panic(errThrown) }},
		{"C", "v", func(api.Memory, []uint32, []uint64) { panic(errAborted) }},
		{"D", "ii", func(m api.Memory, a []uint32, s []uint64) { s[0] = h.resize(m, uint64(a[0])) }},
	}
}

// scalarImports register types that cross in one word.
func (h *host) scalarImports() []importDef {
	return []importDef{
		{"H", "vii", func(m api.Memory, a []uint32, _ []uint64) {
			h.register(a[0], cxxType{kind: kindVoid, name: cString(m, a[1])})
		}},
		{"G", "viiii", func(m api.Memory, a []uint32, _ []uint64) {
			h.register(a[0], cxxType{kind: kindBool, name: cString(m, a[1])})
		}},
		{"p", "viiiii", func(m api.Memory, a []uint32, _ []uint64) {
			h.register(a[0], cxxType{kind: kindInt, name: cString(m, a[1]), size: a[2], signed: a[3] != 0})
		}},
		{"z", "viiijj", func(m api.Memory, a []uint32, s []uint64) {
			h.register(a[0], cxxType{kind: kindInt, name: cString(m, a[1]), size: a[2], signed: s[3] != 0})
		}},
		{"y", "viii", func(m api.Memory, a []uint32, _ []uint64) {
			h.register(a[0], cxxType{kind: kindFloat, name: cString(m, a[1]), size: a[2]})
		}},
		{"F", "vii", func(m api.Memory, a []uint32, _ []uint64) {
			h.register(a[0], cxxType{kind: kindString, name: cString(m, a[1])})
		}},
		{"w", "viii", func(api.Memory, []uint32, []uint64) { /* wide strings: the library passes none */ }},
		{"E", "vi", func(_ api.Memory, a []uint32, _ []uint64) {
			h.register(a[0], cxxType{kind: kindValue, name: "val"})
		}},
		{"n", "vii", func(_ api.Memory, a []uint32, _ []uint64) {
			h.register(a[0], cxxType{kind: kindValue, name: "optional"})
		}},
		{"h", "viii", func(m api.Memory, a []uint32, _ []uint64) {
			h.register(a[0], cxxType{kind: kindView, name: cString(m, a[2]), elem: a[1]})
		}},
		{"x", "viiiii", func(m api.Memory, a []uint32, _ []uint64) {
			h.register(a[0], cxxType{kind: kindEnum, name: cString(m, a[1]), size: a[2], enum: map[uint32]string{}})
		}},
		{"d", "viii", func(m api.Memory, a []uint32, _ []uint64) { h.typ(a[0]).enum[a[2]] = cString(m, a[1]) }},
	}
}

// structImports register structs that cross by their fields.
func (h *host) structImports() []importDef {
	return []importDef{
		{"r", "viiiiii", func(m api.Memory, a []uint32, _ []uint64) {
			h.objects[a[0]] = &valueObject{ctor: function(m, a[2], a[3]), dtor: function(m, a[4], a[5])}
			h.objName[a[0]] = cString(m, a[1])
		}},
		{"k", "viiiiiiiiii", func(m api.Memory, a []uint32, _ []uint64) {
			o := h.objects[a[0]]
			o.fields = append(o.fields, field{
				name: cString(m, a[1]), getType: a[2], getter: function(m, a[3], a[4]), getCtx: a[5],
				setType: a[6], setter: function(m, a[7], a[8]), setCtx: a[9],
			})
		}},
		{"q", "vi", func(_ api.Memory, a []uint32, _ []uint64) {
			h.register(a[0], cxxType{kind: kindObject, name: h.objName[a[0]], object: h.objects[a[0]]})
		}},
	}
}

// classImports register classes, constructors, methods and functions.
func (h *host) classImports() []importDef {
	return []importDef{
		{"j", "viiiiiiiiiiiii", func(m api.Memory, a []uint32, _ []uint64) {
			c := &class{name: cString(m, a[10]), dtor: function(m, a[11], a[12]), ctors: map[int]*binding{}, methods: map[string]*binding{}}
			h.classes[c.name] = c
			for _, id := range a[:3] { // by value, pointer, const pointer
				h.register(id, cxxType{kind: kindClass, name: c.name, class: c})
			}
		}},
		{"i", "viiiiii", func(m api.Memory, a []uint32, _ []uint64) {
			c := h.typ(a[0]).class
			c.ctors[int(a[1])-1] = &binding{name: c.name, types: words(m, a[1], a[2]), invoker: function(m, a[3], a[4]), ctx: a[5]}
		}},
		{"a", "viiiiiiiiii", func(m api.Memory, a []uint32, _ []uint64) {
			n := bareName(cString(m, a[1]))
			h.typ(a[0]).class.methods[n] = &binding{name: n, types: words(m, a[2], a[3]), invoker: function(m, a[4], a[5]), ctx: a[6]}
		}},
		{"c", "viiiiiiii", func(m api.Memory, a []uint32, _ []uint64) {
			n := bareName(cString(m, a[0]))
			h.funcs[n] = &binding{name: n, types: words(m, a[1], a[2]), invoker: function(m, a[3], a[4]), ctx: a[5]}
		}},
		{"m", "viiii", func(api.Memory, []uint32, []uint64) { /* iterator protocol: JavaScript only */ }},
	}
}

// valueImports let C++ work on host values.
func (h *host) valueImports() []importDef {
	t := &h.handles
	return []importDef{
		{"u", "vii", func(_ api.Memory, a []uint32, _ []uint64) {
			dst, ok := t.get(a[0]).(view)
			if !ok {
				fail("not a typed array")
			}
			h.store(dst, t.get(a[1]))
		}},
		{"g", "iiii", func(m api.Memory, a []uint32, s []uint64) {
			ids := words(m, a[0], a[1])
			h.callers = append(h.callers, caller{ids[0], ids[1:], a[2]})
			s[0] = uint64(len(h.callers) - 1)
		}},
		{"f", "diiiii", func(_ api.Memory, a []uint32, s []uint64) {
			s[0] = math.Float64bits(h.onHostValue(a[0], a[1], a[2], a[4]))
		}},
		{"t", "vi", func(_ api.Memory, a []uint32, _ []uint64) { t.retain(a[0]) }},
		{"b", "vi", func(_ api.Memory, a []uint32, _ []uint64) { t.release(a[0]) }},
		{"e", "vi", func(_ api.Memory, a []uint32, _ []uint64) { t.release(a[0]) }},
		{"o", "iii", func(_ api.Memory, a []uint32, s []uint64) {
			s[0] = uint64(number(sameValue(t.get(a[0]), t.get(a[1]))))
		}},
		{"B", "iii", func(_ api.Memory, a []uint32, s []uint64) {
			s[0] = uint64(t.add(property(t.get(a[0]), t.get(a[1]))))
		}},
		{"s", "ii", func(m api.Memory, a []uint32, s []uint64) { s[0] = uint64(t.add(cString(m, a[0]))) }},
		{"A", "i", func(_ api.Memory, _ []uint32, s []uint64) { s[0] = uint64(t.add(object{})) }},
		{"v", "viii", func(_ api.Memory, a []uint32, _ []uint64) {
			o, ok := t.get(a[0]).(object)
			if !ok {
				fail("property of %T", t.get(a[0]))
			}
			k, _ := t.get(a[1]).(string)
			o[k] = t.get(a[2])
		}},
	}
}

// bareName drops the parameter list that a registered name may carry.
func bareName(sig string) string {
	for i, c := range sig {
		if c == '(' {
			return sig[:i]
		}
	}
	return sig
}
