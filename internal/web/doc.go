// Package web is the local web app and its HTTP API over a workspace: a folder of job folders.
//
// A request passes guard (who may talk to us, and how much), then reaches the API or the built user
// interface. What a job is, and every figure shown, comes from package job and the capabilities; this
// package only carries them:
//
//	workspace   job folders by name, never a path from outside
//	staging     uploaded parts that are not a job yet
//	decisions   job.toml, read, checked and edited without losing its comments
//	scene       the part of a job as the view needs it, with its show marks
//	judgement   draft, reach, undercuts and parting line along the direction that a run would take
//	queue       long work: put in line, its results fetched (package tasks)
//	worker      long work done for a server on another machine
//
// Serve runs it:
//
//	err := web.Serve(ctx, web.Options{Folder: "jobs"}, func(url string) { fmt.Println(url) })
//
// docs/api.md describes the API, docs/threats.md what is refused and why, docs/ui.md the interface.
package web
