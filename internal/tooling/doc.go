// Package tooling builds moulds as printable solids and checks them before anyone prints one.
//
// A family is a builder, its files named after it; each gives a Mould, or a Set where pieces are poured or
// leave in stages:
//
//	twohalf*    TwoHalves   two rigid halves, one cavity or several with a runner
//	sidesplit*  SideSplit   a whole half and two side pieces that leave sideways
//	insert*     BuildInsert a cradle, a silicone insert, pattern cap and casting cap
//	block*      BlockMould  two blocks of silicone round a printed master, with parting board and box
//	cutblock*   CutBlock    one block of silicone, cut open
//	skin*       SkinMould   two silicone skins in printed shells
//	tray*       TrayMould   an open tray, with or without an over-moulded carrier
//	trimjig*    NewTrimJig  a guide for trimming what any of them leaves
//
// They go through the same stages, in files that all share:
//
//	prepare.go, cavities*.go     the part is scaled against shrinkage, turned so that the mould opens along +z, set out n times
//	sprue*.go, runner*.go        what brings liquid in and air out
//	placement*.go                bolts, keys, gutter, pry slots and labels find their places
//	surface*.go, ring.go         a parting surface runs from the parting line out
//	stitch.go                    part facets, parting surface and block are joined to raw bodies, without a boolean
//	fittings.go, fasteners*.go, keys*.go, gutter*.go, pry.go, label*.go   hardware, cut by exact booleans (package solid)
//	finish.go                    each piece is checked as its file will hold it
//	ledger.go                    volumes add up
//	walls.go, thickness.go       walls and skins are thick enough
//	stages.go, catches.go        everything opens (package opening), soft bodies by strain
//
// The mould frame: mm, z up; what leaves upward leaves along +z. A mould that fails a check is returned with
// the failure named, and the caller writes no files for it.
package tooling
