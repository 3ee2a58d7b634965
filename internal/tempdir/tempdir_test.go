package tempdir

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// A process that is killed leaves its folder; the next one clears it, and not that of a living one.
func TestFoldersOfTheDeadAreCleared(t *testing.T) {
	if os.Getenv("TEMPDIR_CHILD") != "" {
		dir, err := Make("uploads")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "part.stl"), []byte("solid"), 0o600); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Minute) // until it is killed
	}
	parent := t.TempDir()
	t.Setenv("TMPDIR", parent)
	t.Cleanup(func() {
		if err := Close(); err != nil {
			t.Error(err)
		}
	})
	child := exec.Command(os.Args[0], "-test.run", t.Name())
	child.Env = append(os.Environ(), "TEMPDIR_CHILD=1")
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	parts := func() []string {
		found, err := filepath.Glob(filepath.Join(parent, "*", "*", "part.stl"))
		if err != nil {
			t.Fatal(err)
		}
		return found
	}
	for end := time.Now().Add(30 * time.Second); len(parts()) == 0; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("the child made no folder")
		}
	}
	if err := clearDead(parent); err != nil || len(parts()) != 1 {
		t.Errorf("the living one's folder: %v %v", parts(), err)
	}
	if err := child.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = child.Wait() // killed
	dir, err := Make("work")
	if err != nil {
		t.Fatal(err)
	}
	if len(parts()) != 0 {
		t.Errorf("left behind: %v", parts())
	}
	if info, err := os.Stat(dir); err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("%v %v", info, err)
	}
}
