// Command realmeshes runs the main job on meshes that nobody here wrote, and writes what came of
// each as a table:
//
//	go run ./bench/realmeshes -o docs/realmeshes.md
//
// The meshes are those of package bench/corpus. Each is tried as two rigid halves first; one for which they
// are refused goes through the comparison of all ways, which builds them in rank order until one is proven
// (ways.go). With -only it takes some of the meshes and prints the page.
//
// Facet count and volume of each are compared with the program admesh (Debian).
//
// With -tilt it searches the tilt of every mould that comes of them instead, with one worker and with
// two, prints what stays flat and tilted, and fails when a search makes things worse or the two differ.
package main
