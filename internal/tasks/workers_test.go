package tasks

import (
	"bytes"
	"context"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"mouldwright/internal/pgtest"
)

// A worker of another build is named on both sides, and the task is done as soon as one of the right build
// comes.
func TestWorkerOfAnotherBuildIsNamed(t *testing.T) {
	dsn := pgtest.Database(t)
	ctx := context.Background()
	do := func(context.Context, *Task) error { return nil }
	var said lockedBuffer
	server := open(t, dsn, Options{Space: "one", Version: "aaaa amd64"})
	state, err := server.Submit(ctx, Request{Job: "part", Kind: "build"})
	if err != nil {
		t.Fatal(err)
	}
	wait := func(what string, ok func(State) bool) {
		t.Helper()
		var s State
		for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
			if s, err = server.State(ctx, state.ID); err == nil && ok(s) {
				return
			}
		}
		t.Fatalf("%s: %+v %v; the worker says %q", what, s, err, said.String())
	}
	wait("nobody there", func(s State) bool { return strings.Contains(s.Stage, "no worker is there") })
	open(t, dsn, Options{Version: "bbbb amd64", Handlers: map[string]Handler{"build": do}, Log: slog.New(slog.NewTextHandler(&said, nil))})
	both := func(words string) bool {
		return strings.Contains(words, "aaaa amd64") && strings.Contains(words, "bbbb amd64") && strings.Contains(words, "install the server's build")
	}
	wait("another build", func(s State) bool { return s.State == Waiting && both(s.Stage) && both(said.String()) })
	open(t, dsn, Options{Version: "aaaa amd64", Handlers: map[string]Handler{"build": do}})
	wait("the right build", func(s State) bool { return s.State == Done })
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
