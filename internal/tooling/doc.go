// Package tooling builds moulds as printable solids and checks them before anyone prints one.
//
// TwoHalves takes a part and an opening direction and goes through these stages, one file each:
//
//	prepare.go         the part is scaled against shrinkage and turned so that the mould opens along +z
//	twohalf_sprue.go   sprue and vents find places on the part, or beside it (twohalf_side.go)
//	placement.go       bolts, keys, gutter, pry slots and labels find theirs around it
//	surface.go         a parting surface runs from the parting line out to the block's sides
//	stitch.go          part facets, parting surface and block are joined to two raw halves
//	twohalf_cut.go     the features are cut and joined by exact booleans (package solid)
//	finish.go          each piece is checked as its file will hold it
//	twohalf_account.go volumes add up
//	twohalf_verify.go  walls are thick enough, everything opens (package opening)
//
// The mould frame: mm, z up; the upper half leaves along +z, the lower along −z. A mould that fails
// a check is returned with the failure named, and the caller writes no files for it.
package tooling
