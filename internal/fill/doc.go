// Package fill says where air stays when a mould is filled, and what to do about it: how to tilt the
// mould, where to put vents, how to lower a lid onto a half that was poured first, how long the resin
// takes to run in and how hard it pushes.
//
//	c, err := fill.NewCavity(cast, fill.Options{Show: show})       // facets turned outward from the space
//	r, err := c.Fill(ctx, fill.Setup{Pour: pour, Vents: vents})    // levels, basins, trapped pockets
//	t, err := c.SearchTilt(ctx, fill.TiltOptions{Pour: pour})      // how to prop it, where vents go
//	l, err := fill.CloseLid(ctx, fill.Lid{Base: base, Lid: lid})   // from which edge, from which angle
//
// The fill is quasi-static: the resin is slow and always finds its level. Two methods work side by
// side.
//
// Peaks (peaks.go) are exact. The parts of the cavity above a height h change with h only at the
// corners of the mesh, so one pass over the corners from the top down, joining what touches, gives
// every high point where air can collect, the height at which the resin cuts it off, and by the
// divergence theorem its volume to the last bits. No grid is involved. One direction costs a sort, so
// the tilt search looks at hundreds. It takes the resin to have one level everywhere.
//
// Columns (columns.go, basins.go, sweep.go) follow the resin where it has several levels: it spills
// from basin to basin, and a pocket that closes stays as it is. The cavity is cut into columns on a
// square grid along gravity; each holds the exact heights of its floor and ceiling, so only the
// sideways resolution is finite. A pocket that the columns find is given the exact volume of the peak
// it belongs to wherever the two describe the same pocket; the rest carries an error from a second run
// at twice the pitch.
//
//	cavity.go    the space, its checks, points on it
//	peaks.go     exact high points, their volumes; integrals.go the volume above a height
//	columns.go   the mesh cut into columns
//	basins.go    low points and the heights at which they run over
//	sweep.go     the fill, event by event; sweep_air.go which air still reaches a vent
//	pockets.go   what stays; pressure.go Boyle's law in it
//	tilt.go      the search over two axes; wedge.go the prop
//	lid.go       closing a lid; gutter.go what seeps out
//	flow.go, thin.go, force.go   time, narrow sections, loads
//	frames.go, draw.go           pictures
//
// Lengths in mm, volumes in mm³, pressures in kPa absolute, right-handed coordinates. Results do not
// depend on the number of goroutines.
package fill
