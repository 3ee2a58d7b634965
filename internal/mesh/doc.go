// Package mesh holds a part or a mould piece as an indexed triangle mesh, measures it, and says
// what is wrong with it.
//
// Coordinates are mm, right-handed, z up. The three vertices of a facet run counter-clockwise seen
// from outside, so a facet's normal points out of the solid. A Mesh is never changed once another
// package has seen it: operations return a new one.
//
// The readers and writers of file formats live below this package (mesh/stl, mesh/threemf,
// mesh/obj, mesh/ply) and produce a Model: named objects with their unit.
package mesh
