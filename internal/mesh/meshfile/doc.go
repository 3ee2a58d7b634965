// Package meshfile opens and saves mesh files of every format known here. Open goes by what the file
// holds first and by its name second; Save goes by the name: .stl (binary), .3mf, .obj, .ply.
//
// Save leaves the old file or the new one, never a piece (see package atomicfile). Vertices of an
// opened STL are not shared: mesh.Weld or mesh.Inspect joins them.
package meshfile
