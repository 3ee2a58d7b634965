// Package deviation measures how far two surfaces are apart at the most, where, and which way round: the Hausdorff
// distance of two triangle meshes, with a stated bound on its error.
//
//	r, err := deviation.Between(ctx, casting, part, deviation.Options{})
//	fmt.Println(r.MM, "mm, for certain at most", r.BoundMM, "at", r.At)
//
// Both ways are looked at: a boss that is missing from the casting is far from it, though all of the casting lies on
// the part; a boss too many is the other way round. Lengths are mm. Orientation of facets does not count.
//
// # Method
//
// The distance to one triangle is a convex function, so over a convex piece of a facet it is largest at a corner of
// the piece. That bounds the distance to the whole other surface from above; the distance at the piece's middle and
// corners bounds it from below. A piece whose two bounds are too far apart is cut along the edges of the facet that is
// nearest to its middle, or in half where that does not cut it (branch and bound). Surfaces that are the same but
// divided into other facets are so compared exactly, after as many cuts as their edges cross.
package deviation
