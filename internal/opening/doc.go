// Package opening proves whether rigid bodies come apart by straight moves.
//
// One body travels along a direction d to infinity, the other stays. Both are closed meshes with
// facets turned outward, and their interiors do not overlap at the start; they usually touch, as a
// mould touches its casting over facets that are the same but reversed.
//
// Look along d, with d pointing up. The moving body A is stopped if and only if some of its
// material has material of the fixed body B above it. Going up from A's material to B's, one leaves
// A through a facet that faces up and enters B through a facet that faces down. So A is stopped if
// and only if an up-facing facet of A and a down-facing facet of B overlap in projection along d,
// with B's facet above A's or touching it there. The overlap of two facets is a convex polygon and
// the gap between them is linear over it, so the first contact is at a corner of the polygon: a
// corner of one facet over the other (vertex–face), or two sides that cross (edge–edge).
//
// Meshes carry the rounding of their files, so a wall that should stand parallel to d leans a
// little, in or out, and two such walls in contact overlap in a sliver. An overlap counts as a
// lock only if a disc as wide as the tolerance fits in the union of all overlap polygons. The
// union matters: a wall cut into strips each narrower than the tolerance still locks. See union.go
// and disc.go for how that is decided without approximating the shape by a grid, and
// docs/opening.md for limits and sources.
//
// A wall that stands parallel to d and touches the other body opens, but rubs all the way: its area
// is reported as zero draft and the state is Sliding.
//
// Translate answers one question. Checker keeps prepared bodies for many. Prove follows a whole
// sequence of motions; ProveWithAndWithout compares it empty and with the casting stuck to each
// piece, which is where a part that grips its mould shows.
package opening
