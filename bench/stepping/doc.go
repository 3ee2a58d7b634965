// Command stepping holds the proof of package opening against brute force, on 200 pairs of bodies:
//
//	go run ./bench/stepping
//
// For each pair it moves one body along a direction in small steps, intersects it with the other by the
// boolean library, and so finds whether, and where, the two collide. It prints a row for each pair and
// ends with exit code 1 where that and the proof disagree. docs/opening.md holds the result.
//
//	step.go     the brute force; it knows nothing of the proof
//	agree.go    what the two must agree on
//	halves.go, cut.go, passing.go, pieces.go   where the pairs come from
//
// Bodies are the meshes of package bench/corpus, what the boolean library cuts from them, and pieces of
// moulds that package tooling builds. Directions and sizes are drawn from a fixed seed.
package main
