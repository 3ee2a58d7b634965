// Package solid does robust boolean operations on closed triangle meshes, and the plane geometry
// that goes with them. It runs the manifold library, compiled to WebAssembly, inside the Go process:
// no C toolchain, no second process. No other package knows of the library.
//
//	pool := solid.NewPool(solid.Options{})
//	defer pool.Close()
//	err := pool.Do(ctx, func(k *solid.Kernel) error {
//		block, err := k.Box(bounds)
//		if err != nil {
//			return err
//		}
//		part, err := k.FromMesh(partMesh)
//		if err != nil {
//			return err
//		}
//		mould, err := block.Subtract(part)
//		if err != nil {
//			return err
//		}
//		out, err = mould.Mesh()
//		return err
//	})
//
// A Pool keeps a few kernels (library instances, each with its own memory). Do lends one out; every
// Solid and Region made through it is freed when Do returns, and is dead from then on. What must
// outlive Do is taken out as a mesh.Mesh or as loops.
//
// # Units and exactness
//
// Lengths are mm, right-handed, z up; angles do not occur. Vertices go in and come out as the same
// 64-bit numbers: a mesh that no operation touches returns bit for bit (in another order). Booleans
// compute new vertices in 64-bit arithmetic; for two operands volumes add up to 1e-12 relative. Faces
// of two operands that are coplanar are treated by symbolic perturbation, so the result is always
// closed; what it may leave between touching faces has no thickness, see Clean. Regions (2D) are
// coarser: see Region.
//
// A known limit: in a union of three or more pieces that were cut from one another and meet in a
// common edge, the library sometimes loses a sliver beside that edge; 6e-4 mm³ on bodies of some
// 7 mm³ was the most seen. Joining them one by one, each with a face on what is there, made it rare
// (1 in 350 random pairs) but not impossible. So where such pieces are joined again, compare the
// volume with their sum. Subtract, Intersect, cuts by planes and unions of two bodies did not show
// it in thousands of random pairs.
//
// The same calls give the same bytes, whichever kernel serves them and whatever it did before.
//
// # Errors
//
// Input is checked before the library sees it, and refused with a *MeshError that names facet and
// vertex. A crash inside the library (out of memory, a trap) is an error that wraps ErrKernelLost;
// the pool throws that kernel away and starts another. A cancelled context refuses the next operation,
// and stops one under way when it asks for memory, with an error that wraps ctx.Err().
package solid
