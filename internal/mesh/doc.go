// Package mesh holds a part or a mould piece as an indexed triangle mesh, measures it, and says
// what is wrong with it.
//
// Coordinates are mm, right-handed, z up. The three vertices of a facet run counter-clockwise seen
// from outside, so a facet's normal points out of the solid. A Mesh is never changed once another
// package has seen it: operations return a new one.
//
// A part comes in by three steps: a reader gives a Model, Model.InMM and Merge give a Mesh in mm, and
// Inspect says whether it can be moulded and hands on the surface to work with (Intake.Mesh).
//
//	mesh.go       Mesh: bounds, volume, area
//	model.go      Model: named objects, unit, colours
//	topology.go   Adjacency, Components, Split (edges.go pairs edges, disjoint.go joins sets)
//	weld.go       Weld: vertices at one place become one
//	intake.go     Intake, Problem: what Inspect reports; inspect.go: its steps, in
//	              degenerate.go, surface.go, shells.go, selfcross.go with crossing.go, size.go
//	polygon.go    CutPolygon, for readers of files with larger faces
//	limits.go     Limits on files; readerror.go: how readers say what is wrong
//
// The readers and writers of file formats live below this package (mesh/stl, mesh/threemf,
// mesh/obj, mesh/ply); mesh/meshfile opens and saves files of any of them.
package mesh
