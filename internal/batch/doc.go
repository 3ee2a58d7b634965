// Package batch plans the casting of a batch on one bench: what to build and buy, which mix fills
// which moulds when, what the parts cost.
//
//	b, err := batch.Load("batch.toml")              // demand, tools, recipes, hours, prices
//	plan, err := batch.Make(ctx, b, batch.Options{}) // *Refusal says what cannot be met, and by how much
//	err = batch.Verify(b, plan)                      // separate code; Make has done it already
//	err = batch.WriteFiles("out", b, plan, money)
//
// A tool may name a job, whose results fill in what batch.toml leaves out (fromjob.go). What happened of a
// plan comes from a note, LoadHistory, or from the records, FromRecords.
//
// A load is one closing of the pressure pot: one or more mixes, each poured into one mould a shot. A
// load is placed as a whole by package finite; the order and the make-up of the loads are searched.
// How a load's steps follow each other, and every limit, is in docs/batch.md.
//
// Times inside are whole seconds from midnight of the plan's first day, by the bench's own clock;
// days have 24 hours (a change of the clock is not known).
package batch
