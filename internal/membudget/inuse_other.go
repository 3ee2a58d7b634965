//go:build !linux

package membudget

func inUse() uint64 { return ofRuntime() }
