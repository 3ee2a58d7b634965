package cli

import (
	"os"
	"path/filepath"
	"testing"
)

func TestBatchRecords(t *testing.T) {
	dir := batchFolder(t, "used_shots = [3, 3, 0, 0]", `mould_ids = ["a", "b", "c", "d"]`)
	db := filepath.Join(dir, "records.db")
	ok := func(args ...string) outcome {
		t.Helper()
		o := run(t, Env{}, args...)
		if o.code != ExitOK {
			t.Fatalf("%v: exit %d: %s", args, o.code, o.err)
		}
		return o
	}
	plan := func(more ...string) []string {
		return append([]string{"batch", "plan", dir, "--tries", "20", "--records", db}, more...)
	}
	o := run(t, Env{}, plan("--now", "2026-03-01 12:00")...)
	if o.code != ExitInput {
		t.Errorf("exit %d", o.code)
	}
	contains(t, "without records", o.err, "no records")
	for _, id := range []string{"a", "b", "c", "d"} {
		ok("record", "mould", "Ring "+id, "--id", id, "--records", db)
	}
	ok(plan("--now", "2026-03-01 12:00")...)
	ok("record", "shot", "a", "--poured", "2026-03-02 09:00", "--records", db)
	o = ok(plan("--now", "2026-03-02 10:00")...)
	contains(t, "the new plan", o.out, "Planned anew from Mon 2 Mar 10:00", "record shot")
	if err := os.WriteFile(filepath.Join(dir, "happened.toml"), []byte("format = 1\nnow = \"2026-03-02 09:00\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	o = run(t, Env{}, plan()...)
	if o.code != ExitInput {
		t.Errorf("exit %d", o.code)
	}
	contains(t, "both", o.err, "happened.toml", "both")
	o = run(t, Env{}, "batch", "plan", batchFolder(t), "--records", db)
	if o.code != ExitInput {
		t.Errorf("exit %d", o.code)
	}
	contains(t, "without ids", o.err, "mould_ids")
}
