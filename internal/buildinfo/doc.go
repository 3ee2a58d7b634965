// Package buildinfo says which build of the program this is. Two builds that compute the same bear the same
// mark, wherever and whenever they were made: it is a hash of the sources and of the data that are compiled
// in, which `make build` takes (see the program in stamp). Where it was not taken, as by plain go build, the
// hash of the program's own file stands in: builds of one source may then count as different, never two
// sources as one.
package buildinfo
