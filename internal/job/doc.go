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
// A run builds its results in a hidden folder beside out/ and swaps it in at the end, so out/ always
// holds one whole run. A refused part leaves no mould files behind, only the report.
package job
