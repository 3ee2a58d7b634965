// Package corpus gathers meshes that nobody here wrote, for checks and benchmarks.
//
// They come from the Debian package assimp-testmodels and from npm packages (bench/realmeshes/package.json).
// Files in formats that mouldwright reads are read by it; others are first turned into STL by the assimp
// command (Debian: assimp-utils). Each object is welded exactly, split into shells, and its watertight
// shells are kept: closed, every edge between two facets that run oppositely, positive volume. A shell of
// the same form as an earlier one is left out.
package corpus
