package membudget

import "runtime/metrics"

// ofRuntime is the memory that the Go runtime holds of the system, in bytes: all but what lies outside its heap.
func ofRuntime() uint64 {
	s := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}}
	metrics.Read(s)
	return s[0].Value.Uint64() - s[1].Value.Uint64()
}
