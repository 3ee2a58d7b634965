package cli

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// batchFolder copies the demo's batch, changed by pairs of old and new text.
func batchFolder(t *testing.T, changes ...string) string {
	t.Helper()
	src, err := os.ReadFile("../../demo/batch/batch.toml")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	text := strings.NewReplacer(changes...).Replace(string(src))
	if err := os.WriteFile(filepath.Join(dir, "batch.toml"), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestBatchPlan(t *testing.T) {
	dir := batchFolder(t)
	o := run(t, Env{}, "--json", "batch", "plan", dir, "--tries", "40")
	if o.code != ExitOK {
		t.Fatalf("exit %d: %s", o.code, o.err)
	}
	v := fields(t, o)
	for _, name := range []string{"plan", "costs", "break_even", "files"} {
		if v[name] == nil {
			t.Errorf("no %s in the output", name)
		}
	}
	for _, name := range []string{"board.svg", "day-lists.pdf", "calendar.ics", "break-even.svg", "plan.txt", "plan.json"} {
		if st, err := os.Stat(filepath.Join(dir, "out", name)); err != nil || st.Size() == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	again := run(t, Env{}, "batch", "plan", dir, "--tries", "40")
	contains(t, "the plan as text", again.out, "Foot ring, amber", "No plan on this bench is done before", "g needed", "EUR each", "Next:")
}

func TestBatchReplan(t *testing.T) {
	dir := batchFolder(t)
	if o := run(t, Env{}, "-q", "batch", "plan", dir, "--tries", "20"); o.code != ExitOK {
		t.Fatal(o.err)
	}
	happened := "format = 1\nnow = \"2026-03-02 09:00\"\n[[step]]\nid = \"L1/M1/mix\"\nstart = \"2026-03-02 08:30\"\n"
	if err := os.WriteFile(filepath.Join(dir, "happened.toml"), []byte(happened), 0o644); err != nil {
		t.Fatal(err)
	}
	// The pour was not noted, and the pot life of that mix is over.
	o := run(t, Env{}, "-q", "batch", "plan", dir, "--tries", "20")
	if o.code != ExitInput {
		t.Errorf("exit %d", o.code)
	}
	contains(t, "the error", o.err, "L1", "spoiled_loads")
	spoiled := strings.Replace(happened, "[[step]]", "spoiled_loads = [\"L1\"]\n[[step]]", 1)
	if err := os.WriteFile(filepath.Join(dir, "happened.toml"), []byte(spoiled), 0o644); err != nil {
		t.Fatal(err)
	}
	if o := run(t, Env{}, "-q", "batch", "plan", dir, "--tries", "20"); o.code != ExitOK {
		t.Error(o.err)
	} else {
		contains(t, "the new plan", o.out, "Mon 2 Mar 09:")
	}
	if err := os.WriteFile(filepath.Join(dir, "happened.toml"), []byte("format = 1\nnow = \"2026-03-02 09:00\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	bad := strings.Replace(happened, "L1/M1/mix", "L9/M99/mix", 1)
	if err := os.WriteFile(filepath.Join(dir, "happened.toml"), []byte(bad), 0o644); err != nil {
		t.Fatal(err)
	}
	o = run(t, Env{}, "batch", "plan", dir)
	if o.code != ExitInput {
		t.Errorf("exit %d", o.code)
	}
	contains(t, "the error", o.err, "happened.toml:4:1", "L9/M99/mix")
}

func TestBatchRefused(t *testing.T) {
	o := run(t, Env{}, "batch", "plan", batchFolder(t, "life_shots = 60", "life_shots = 5"))
	if o.code != ExitRefused {
		t.Errorf("exit %d", o.code)
	}
	contains(t, "the refusal", o.err, "Foot ring mould", "short")
}

func TestBatchBadFile(t *testing.T) {
	o := run(t, Env{}, "batch", "plan", batchFolder(t, "purge_min", "purge_mins"))
	if o.code != ExitInput {
		t.Errorf("exit %d", o.code)
	}
	contains(t, "the error", o.err, "batch.toml:", "purge_mins", "does not exist")
	if o := run(t, Env{}, "batch", "plan", t.TempDir()); o.code != ExitInput {
		t.Errorf("exit %d: %s", o.code, o.err)
	}
}

func TestBatchStopped(t *testing.T) {
	dir := batchFolder(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if o := runCtx(t, ctx, Env{}, "batch", "plan", dir); o.code != ExitStopped {
		t.Errorf("exit %d: %s", o.code, o.err)
	}
	if _, err := os.Stat(filepath.Join(dir, "out")); !os.IsNotExist(err) {
		t.Error("files lie there after a stop")
	}
}
