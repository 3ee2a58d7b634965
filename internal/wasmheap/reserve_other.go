//go:build !unix && !windows

package wasmheap

import "github.com/tetratelabs/wazero/experimental"

func reserve(uint64) experimental.LinearMemory { return nil }
