// Package ply reads and writes PLY files: ASCII, and binary of either byte order. Of the elements it
// takes "vertex" (x, y, z; colours) and "face" (the list vertex_indices or vertex_index; colours);
// others are passed over, in any order and of any types. Faces of more than three corners are cut
// into facets. A facet's colour is that of its face, or of its vertices where all three agree.
//
// PLY has no unit and no objects: a file is one object. Write stores doubles, so what it writes is
// read back exactly.
package ply
