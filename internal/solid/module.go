package solid

import _ "embed"

// manifoldWasm is the library: npm manifold-3d 3.5.4, put here by `make deps`. imports.go depends on
// the names that this very build minifies its imports and exports to.
//
//go:embed manifold.wasm
var manifoldWasm []byte

// The exports of the library's module that the host uses.
const (
	exportInit  = "J" // runs constructors, which register the bindings
	exportTable = "L" // the function table
	exportFree  = "N"
)
