package solid

// The library takes callbacks as indexes into its function table, and only a WebAssembly function
// can sit there. callbackModule assembles the smallest module that wraps a host function so:
//
//	(module
//	  (import "manifold" "L" (table 1 funcref))
//	  (import "host" "warp" (func $warp (param i32 i32)))
//	  (func $thunk (param i32 i32) (call $warp (local.get 0) (local.get 1)))
//	  (elem declare func $thunk)
//	  (func (export "install") (result i32)
//	    (table.grow 0 (ref.func $thunk) (i32.const 1))))
//
// install adds the thunk to the library's table and returns its index. Every count and length below
// is under 128, so each is one LEB128 byte.
func callbackModule() []byte {
	const (
		typI32, typFunc, typFuncRef = 0x7f, 0x60, 0x70
		extFunc, extTable           = 0, 1
		warp, thunk, install        = 0, 1, 2 // function indexes: the import comes first
		end                         = 0x0b
	)
	name := func(s string) []byte { return append([]byte{byte(len(s))}, s...) }
	sized := func(b ...byte) []byte { return append([]byte{byte(len(b))}, b...) }
	section := func(id byte, parts ...[]byte) []byte {
		body := []byte{byte(len(parts))} // a vector of parts
		for _, p := range parts {
			body = append(body, p...)
		}
		return append([]byte{id}, sized(body...)...)
	}
	join := func(parts ...[]byte) (out []byte) {
		for _, p := range parts {
			out = append(out, p...)
		}
		return out
	}
	return join(
		[]byte("\x00asm\x01\x00\x00\x00"), // magic, version 1
		section(1, // types
			[]byte{typFunc, 2, typI32, typI32, 0}, // 0: (i32, i32) -> ()
			[]byte{typFunc, 0, 1, typI32}),        // 1: () -> i32
		section(2, // imports
			join(name("manifold"), name(exportTable), []byte{extTable, typFuncRef, 0, 1}), // at least 1 element
			join(name("host"), name("warp"), []byte{extFunc, 0})),
		section(3, []byte{0}, []byte{1}), // types of thunk and install
		section(7, join(name("install"), []byte{extFunc, install})),
		section(9, []byte{3, 0, 1, thunk}), // elements: declarative, of functions, one
		section(10, // code; the leading 0 is "no locals"
			sized(0,
				0x20, 0, // local.get 0
				0x20, 1, // local.get 1
				0x10, warp, // call
				end),
			sized(0,
				0xd2, thunk, // ref.func
				0x41, 1, // i32.const 1
				0xfc, 15, 0, // table.grow of table 0
				end)),
	)
}
