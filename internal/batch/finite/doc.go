// Package finite schedules work of any shape on resources of finite capacity.
//
// A Job is a group of tasks tied by time lags, which is placed as a whole: a mix with the pours it
// fills, say, which must be closed within the pot life. A Resource has a capacity and may have
// windows outside which it is shut; a task that needs a person lies wholly inside a shift, one that
// needs none (a cure) runs through the night. A Hold keeps a resource from one task's start to
// another's end, such as a mould from its release coat to its demoulding; it may be met by any one of
// several resources. A station remembers the state of its last use (the colour in the mixing tools),
// and a Change task is done only when the state differs.
//
//	s := finite.NewSchedule(shop)
//	for _, j := range order {
//		err := s.Place(j)          // earliest places for all tasks of the job
//	}
//	err := finite.Verify(shop, s.Placed())
//
// Solve searches for an order of jobs: a Problem is a shop, jobs, and arcs between them.
//
//	res, err := finite.Solve(ctx, &finite.Problem{Shop: shop, Jobs: jobs, Arcs: arcs}, finite.Options{})
//	res.End, res.LowerBound                    // no schedule ends before the bound
//
// Place is a serial schedule generation scheme: given the order of the jobs it sets each task to the
// earliest time that the lags and the resources allow, and when a longest lag is broken it moves the
// earlier task later and tries again. What is searched is the order of the jobs. The order of the uses
// of a station is the order of the jobs, which loses nothing, since a station has one use at a time.
// PlaceOpen leaves the last tasks of a job for later. A job shop, whose tasks each have one machine to
// themselves, is searched as a graph of its machines' sequences. Method and results: docs/planner.md.
// Verify shares no code with Place.
//
// Times are whole seconds from the start of the plan.
package finite
