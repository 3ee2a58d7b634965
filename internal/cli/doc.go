// Package cli is the command line: it reads arguments, calls the packages that do the work, and
// prints what they found, as text or with --json as JSON. One file holds one command. Nothing is
// computed here.
//
// Main runs one command line in-process and returns the exit code, so tests need no subprocess.
// docs/cli.md lists the commands, the JSON fields and the exit codes.
package cli
