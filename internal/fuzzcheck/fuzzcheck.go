package fuzzcheck

import (
	"errors"
	"runtime/metrics"
	"testing"

	"mouldwright/internal/mesh"
)

// MostBytes is what one run may take from the heap in all: targets read at most 1 MiB.
const MostBytes = 400 << 20

// Bounded runs do and fails when it takes more than MostBytes. Other goroutines' memory counts too, so that
// the figure is never too low.
func Bounded(t *testing.T, do func()) {
	t.Helper()
	before := allocated()
	do()
	if took := allocated() - before; took > MostBytes {
		t.Fatalf("it took %d MB of memory", took>>20)
	}
}

func allocated() uint64 {
	s := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(s)
	return s[0].Value.Uint64()
}

// MeshError fails when an error of a mesh reader is not of the kind that names format, place and remedy.
func MeshError(t *testing.T, err error) {
	t.Helper()
	var e *mesh.ReadError
	if !errors.As(err, &e) {
		t.Fatalf("an error of a foreign kind: %T: %v", err, err)
	}
	if err.Error() == "" {
		t.Fatal("an error without words")
	}
}
