// Package choice compares ways to mould one part and says which suits it, why, and what small change
// of the part would make a simpler one work.
//
//	table, err := choice.Compare(ctx, part, show, choice.Options{Batch: 20, Casting: &soft})
//	fmt.Print(table.Words())
//
// A way to mould is a row of data (families.go): what it needs, who shapes which facet, what is
// printed and poured, how long it lasts. Compare does the same with each row:
//
//	stance.go     the part seen along one opening direction: reach, undercuts, what lies open sideways
//	arrange*.go   which piece shapes which facet, and where each piece is held
//	judge.go      package opening judges the release; flash is measured along the pieces' borders
//	amounts.go    print and silicone volumes, from stated formulas with their error
//	cost.go       time and cost for the batch
//	rank.go       the order, and the words
//	change.go     the smallest taper that lets a simpler way work, found by analysing the changed part
//
// Only a way whose mould was built and proven (Options.Provers) is called proven. Every other verdict
// is an estimate, and says so.
package choice
