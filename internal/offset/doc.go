// Package offset makes the surface that lies a given distance from a part: the outside of a silicone
// skin, the inside of a shell, a master made smaller by its coat.
//
// Solid takes a closed mesh and a distance and returns the closed surface of all points that far
// outside (or inside) of it. Nothing is added by Minkowski sums, which cost the product of two facet
// counts; the surface is found where the exact distance to the part takes the value asked:
//
//	distance.go  signed distance to a closed mesh, its sign from pseudonormals
//	cells.go     octree of the cubes that the surface can pass, pruned by the distance itself
//	contour.go   marching tetrahedra: a closed 2-manifold, each vertex by root finding
//	refine.go    edges that stray are split, at the crease where the surface has one
//	measure.go   how far the result is from exact, both ways
//
// Under makes what a cradle needs: the underside of the part thickened by a distance and swept upward
// within a cone, so that it is a height field with at least the cone's draft everywhere.
//
//	cone.go      distance to a surface swept upward
//	under.go     the height field, triangulated in plan until it is within tolerance
//
// The error of every result is measured against the exact distance and returned with it.
// Lengths are mm. The same input gives the same bytes.
package offset
