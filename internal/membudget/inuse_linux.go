package membudget

import (
	"bytes"
	"os"
	"strconv"
)

// inUse is the resident memory of the process, in bytes; see proc(5), statm.
func inUse() uint64 {
	b, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		return ofRuntime()
	}
	fields := bytes.Fields(b)
	if len(fields) < 2 {
		return ofRuntime()
	}
	pages, err := strconv.ParseUint(string(fields[1]), 10, 64)
	if err != nil {
		return ofRuntime()
	}
	return pages * uint64(os.Getpagesize())
}
