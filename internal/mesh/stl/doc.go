// Package stl reads and writes STL, the triangle soup: binary (an 80-byte header, a count, and 50
// bytes a facet, little endian) and ASCII ("solid" … "facet" … "endsolid").
//
// STL has no unit and shares no vertices: a mesh from Read has three vertices of its own for each
// facet, and mesh.Weld(m, 0) gives them back their sharing. Normals in the file are ignored; the
// order of the corners says which side is out. Binary STL holds 32-bit floats, so a written
// coordinate is off by up to 6e-8 of its size; use 3MF where exact doubles matter.
package stl
