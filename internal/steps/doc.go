// Package steps turns a job's report and its material into what to do at the bench, in order: prepare
// the printed pieces, seal and release every face that touches resin, weigh and mix against the pot
// life, pour, cure, open in the proven order, trim, inspect, record.
//
//	plan, err := steps.Make(report, mat, steps.Bench{TempC: 21, Shots: 10})
//	for _, s := range plan.Steps { ... s.Title, s.Quantities, s.TimerS, s.Hard ... }
//
// A Hard step is a stop: package record lets nothing after it be signed before it is signed, or skipped
// with a signed reason. The same input gives the same plan. What is practice of the trade says so in
// Source; what follows from a rule says why in Why.
package steps
