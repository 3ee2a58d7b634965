// Package job joins the capabilities: it reads a job folder, runs a part through intake, judgement,
// mould building, proof and amounts, and writes the results.
//
// A job is a folder:
//
//	job.toml   the maker's decisions, edited by hand or by the commands
//	PART       the part file that job.toml names
//	out/       everything generated; safe to delete
//
// Create starts a folder, Load reads its decisions, Run does the work:
//
//	res, err := job.Run(ctx, "lantern/foot", job.RunOptions{Progress: show})
//	var refused *job.Refusal
//	if errors.As(err, &refused) { ... } // the part cannot be moulded as asked; refused says why
//
// A run builds its results in a hidden folder beside out/ and lets the two trade places at the end, so
// out/ always holds one whole run, whatever happens. A refused part leaves no mould files behind, only
// the report and a picture of where it locks. The same job gives the same bytes.
//
// The files follow the way of a part through a run:
//
//	file.go, file_check.go    job.toml
//	openpart.go, part.go      the part and its show faces
//	direction.go, trying.go   ways to open, in the order in which they are tried
//	fill.go, run.go           pouring on paper; the run itself, amounts
//	drawings.go, write.go     what is written
//	out.go, disk.go           never half-written
//	report.go, print.go       what is told
//
// docs/job.md has the settings, the fields of the report, and what is promised across versions.
package job
