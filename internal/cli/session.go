package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"

	"mouldwright/internal/prose"
)

// session is one command being run.
type session struct {
	ctx          context.Context // ends, too, when the process takes more than its memory budget
	unwatched    context.Context // of servers, whose tasks are watched one by one
	env          Env
	json, quiet  bool
	progressKind string
	printed      bool // a result went out, so an error must not follow it on the same stream
}

// result prints v as JSON, or calls text.
func (s *session) result(v any, text func(w io.Writer)) error {
	s.printed = true
	if s.json {
		return s.writeJSON(v)
	}
	w := &prose.Writer{W: s.env.Out}
	text(w)
	if w.Err != nil {
		return fmt.Errorf("write the result: %w", w.Err)
	}
	return nil
}

func (s *session) writeJSON(v any) error {
	e := json.NewEncoder(s.env.Out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		return fmt.Errorf("write the result as JSON: %w", err)
	}
	return nil
}

// hint prints what to do next, unless the output is JSON or quiet.
func (s *session) hint(format string, args ...any) {
	if !s.json && !s.quiet {
		fmt.Fprintf(s.env.Out, "\nNext: "+format+"\n", args...)
	}
}

// fail reports an error and gives its exit code. With --json it is an object on standard output
// too, so that a script reads one stream.
func (s *session) fail(err error) int {
	code, kind := kindOf(err)
	if code == ExitStopped {
		fmt.Fprintln(s.env.Err, "mouldwright: stopped; nothing half-written was left")
	} else {
		fmt.Fprintf(s.env.Err, "mouldwright: %v\n", err)
	}
	if s.json && !s.printed {
		_ = s.writeJSON(map[string]any{"error": map[string]any{"kind": kind, "exit": code, "message": err.Error()}}) // the error is on standard error already
	}
	return code
}

// table lays out rows in columns two spaces apart; cells are separated by tabs.
func table(w io.Writer, fill func(w io.Writer)) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fill(t)
	_ = t.Flush() // a prose.Writer holds what went wrong
}
