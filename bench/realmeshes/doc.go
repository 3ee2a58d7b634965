// Command realmeshes runs the main job on meshes that nobody here wrote, and writes what came of
// each as a table:
//
//	go run ./bench/realmeshes -o docs/realmeshes.md
//
// The meshes come from the Debian package assimp-testmodels and from npm packages (package.json
// beside this file). Files in formats that mouldwright reads are read by it; others are first turned
// into STL by the assimp command (Debian: assimp-utils). Each object is welded exactly, split into
// shells, and its watertight shells are kept: closed, every edge between two facets that run
// oppositely, positive volume. A shell of the same form as an earlier one is left out.
//
// Facet count and volume of each are compared with the program admesh (Debian).
//
// With -tilt it searches the tilt of every mould that comes of them instead, with one worker and with
// two, prints what stays flat and tilted, and fails when a search makes things worse or the two differ.
package main
