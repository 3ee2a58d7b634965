// Package obj reads and writes the geometry of OBJ text files: vertices (v), faces (f) and names
// (o, g). Texture coordinates, normals, materials, lines and curves are left out.
//
// OBJ has no unit. Each o, or each g in a file without o, is an object of its own, unless it shares
// vertices with another: then they are one surface and stay one object. Faces of more than three
// corners are cut into facets. Numbers are decimal text, so a double that Write writes is the double
// that Read reads.
package obj
