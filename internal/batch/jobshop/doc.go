// Package jobshop schedules classical job shops: every job is a fixed sequence of operations, every
// operation holds one machine for a fixed time, a machine does one operation at a time, and the last
// end (the makespan) shall be early. It is the core against which the scheduling of this project is
// measured, because its instances have published optima.
//
//	in, err := jobshop.Read(file)                      // the OR-Library's layout
//	res, err := jobshop.Solve(ctx, in, jobshop.Options{})
//	res.Makespan, res.LowerBound                       // the bound is proven, so the gap is too
//	err = jobshop.Verify(in, res.Starts)               // separate code
//
// Method: priority dispatch (Giffler & Thompson 1960) for a start, tabu search over the moves of
// Balas & Vazacopoulos (1998) with their estimate, after Nowicki & Smutnicki (1996) and Zhang et al.
// (2007, 2008), and elites joined by path relinking (Peng, Lü & Cheng 2015). The bound is the one
// machine preemptive bound (Jackson 1955, Carlier 1982), raised by refuting makespans with
// edge-finding (Carlier & Pinson 1989; the form of Baptiste, Le Pape & Nuijten 2001) and shaving.
//
// The result depends on the instance, the seed and the iterations alone. A time limit is looked at
// only between searches of fixed length, so it chooses how many of them are done and nothing else.
// Times are whole numbers of any unit.
package jobshop
