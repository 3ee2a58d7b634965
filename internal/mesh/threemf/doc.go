// Package threemf reads and writes 3MF files: the 3MF Core Specification 1.3 (chapters cited in
// the code are its chapters), and of the Materials extension the colour groups.
//
// A 3MF file is a zip of parts: [Content_Types].xml, _rels/.rels which names the model part, and
// that part, usually 3D/3dmodel.model, with objects (meshes, or components placed by transforms)
// and the build: which objects are placed where. Read gives each placed mesh as one object of the
// model, its vertices transformed, still in the file's unit. A transform that mirrors turns the
// facets over, so that normals stay outward.
//
// Coordinates are decimal text, so a double written by Write and read by Read is the same double.
// The same model always gives the same bytes.
package threemf
