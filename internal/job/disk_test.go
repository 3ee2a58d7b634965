package job

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/atomicfile/faultfs"
)

// writeSample writes results by the same steps as a run, small and told apart by what they hold.
func writeSample(d disk, folder, content string) error {
	out, err := begin(d, folder)
	if err != nil {
		return err
	}
	for _, name := range []string{"mould.3mf", "pieces/lower-half.stl", "pieces/upper-half.stl", "drawings/plan.svg"} {
		err = out.add(name, func(w io.Writer) error {
			for range 3 {
				if _, err := io.WriteString(w, content+" "+name+"\n"); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return errors.Join(err, out.discard())
		}
	}
	return errors.Join(out.report(&Report{Format: ReportFormat, Part: PartReport{Name: content}}), out.discard())
}

// sampleTree is what writeSample leaves.
func sampleTree(t testing.TB, content string) string {
	t.Helper()
	folder := t.TempDir()
	if err := writeSample(disk{}, folder, content); err != nil {
		t.Fatal(err)
	}
	return tree(t, filepath.Join(folder, OutName))
}

func noExchange(string, string) error { return errors.ErrUnsupported }

// Every step of writing fails in turn: each operation on a file, and each on a folder, with and without
// a system that can exchange folders. The results of the run before stay byte for byte, or, where only
// the tidying after the exchange failed, the new ones are whole; and the next run works.
func TestEveryStepMayFail(t *testing.T) {
	before, after := sampleTree(t, "before"), sampleTree(t, "after")
	for _, swap := range []func(string, string) error{nil, noExchange} {
		for _, kind := range []string{"file", "folder"} {
			failed := 0
			for at := 1; ; at++ {
				folder := t.TempDir()
				if err := writeSample(disk{}, folder, "before"); err != nil {
					t.Fatal(err)
				}
				files, steps := faultfs.New(atomicfile.OS{}), 0
				d := disk{files: files, swap: swap}
				if kind == "file" {
					files.FailAt = at
				} else {
					d.fault = func(op, path string) error {
						if steps++; steps == at {
							return &fs.PathError{Op: op, Path: path, Err: syscall.ENOSPC}
						}
						return nil
					}
				}
				err := writeSample(d, folder, "after")
				if !files.Fired && steps < at {
					if err != nil {
						t.Fatalf("nothing failed, and yet: %v", err)
					}
					break
				}
				failed++
				if !errors.Is(err, syscall.ENOSPC) || !strings.Contains(err.Error(), "free some space") {
					t.Errorf("%s step %d: error %v", kind, at, err)
				}
				switch now := tree(t, filepath.Join(folder, OutName)); {
				case now == before:
				case now == after && strings.Contains(err.Error(), "whole in"):
				default:
					t.Errorf("%s step %d: %v\nleft\n%s", kind, at, err, now)
				}
				if hidden := leftovers(t, folder); len(hidden) > 0 && !strings.Contains(err.Error(), "whole in") {
					t.Errorf("%s step %d: left %v", kind, at, hidden)
				}
				if err := writeSample(disk{}, folder, "after"); err != nil || tree(t, filepath.Join(folder, OutName)) != after || len(leftovers(t, folder)) > 0 {
					t.Errorf("%s step %d: the run after: %v, left %v", kind, at, err, leftovers(t, folder))
				}
			}
			if want := map[string]int{"file": 50, "folder": 5}[kind]; failed < want {
				t.Errorf("%d %s steps failed, there are at least %d", failed, kind, want)
			}
		}
	}
}

// The disk fills up at several points of a whole run.
func TestFullDisk(t *testing.T) {
	folder := newJob(t, block(24, 20, 10), "")
	if _, err := run(folder); err != nil {
		t.Fatal(err)
	}
	before := tree(t, filepath.Join(folder, OutName))
	for _, room := range []int64{0, 60_000} {
		files := faultfs.New(atomicfile.OS{})
		files.BytesLeft = room
		_, err := Run(ctx, folder, RunOptions{Pool: pool, view: quick, disk: disk{files: files}})
		if !errors.Is(err, syscall.ENOSPC) || !strings.Contains(err.Error(), "free some space") {
			t.Errorf("room for %d bytes: error %v", room, err)
		}
		if tree(t, filepath.Join(folder, OutName)) != before || len(leftovers(t, folder)) > 0 {
			t.Errorf("room for %d bytes: the results of the run before have changed", room)
		}
	}
}

// mounted gives a folder on a file system of so many bytes, where the test may make one.
func mounted(t *testing.T, bytes int) string {
	t.Helper()
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d", bytes)); err != nil {
		t.Skipf("no file system for the test: %v", err)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// A really full disk, and one that turns read-only.
func TestSmallAndReadOnlyDisk(t *testing.T) {
	dir := mounted(t, 256<<10)
	folder := newJob(t, block(24, 20, 10), "")
	for _, name := range []string{FileName, "part.stl"} {
		b, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		put(t, filepath.Join(dir, name), string(b))
	}
	if err := writeSample(disk{}, dir, "before"); err != nil {
		t.Fatal(err)
	}
	before := tree(t, filepath.Join(dir, OutName))
	put(t, filepath.Join(dir, "filler"), strings.Repeat("x", 200<<10))
	if _, err := run(dir); !errors.Is(err, syscall.ENOSPC) || !strings.Contains(err.Error(), "free some space") {
		t.Errorf("full disk: error %v", err)
	}
	if err := unix.Mount("", dir, "", unix.MS_REMOUNT|unix.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	if _, err := run(dir); !errors.Is(err, syscall.EROFS) || !strings.Contains(err.Error(), "copy the folder") {
		t.Errorf("read-only disk: error %v", err)
	}
	if tree(t, filepath.Join(dir, OutName)) != before || len(leftovers(t, dir)) > 0 {
		t.Errorf("left %v", leftovers(t, dir))
	}
}

func TestReadOnlyFolder(t *testing.T) {
	folder := newJob(t, block(24, 20, 10), "")
	d := disk{fault: func(op, path string) error {
		return &fs.PathError{Op: op, Path: path, Err: fs.ErrPermission}
	}}
	if os.Getuid() != 0 { // the real thing; nothing stops root
		d = disk{}
		if err := os.Chmod(folder, 0o555); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = os.Chmod(folder, 0o755) })
	}
	_, err := Run(ctx, folder, RunOptions{Pool: pool, disk: d})
	if !errors.Is(err, fs.ErrPermission) || !strings.Contains(err.Error(), "permissions") || !strings.Contains(err.Error(), folder) {
		t.Errorf("error %v", err)
	}
}

// What a run killed between the two steps of a system without exchange leaves is put right.
func TestRecoverBetweenTwoSteps(t *testing.T) {
	before := sampleTree(t, "before")
	folder := t.TempDir()
	if err := writeSample(disk{}, folder, "before"); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(folder, OutName), filepath.Join(folder, oldPrefix+"1")); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(folder, buildPrefix+"1"), 0o755); err != nil {
		t.Fatal(err)
	}
	put(t, filepath.Join(folder, oldPrefix+"notes"), "a file of the maker's, by chance of that name")
	if err := recoverOut(disk{}, folder); err != nil {
		t.Fatal(err)
	}
	if tree(t, filepath.Join(folder, OutName)) != before || len(leftovers(t, folder)) != 1 {
		t.Errorf("left %v", leftovers(t, folder))
	}
}

// A file or link called out is the maker's, and results do not take its place.
func TestOutIsNotAFolder(t *testing.T) {
	elsewhere := t.TempDir()
	put(t, filepath.Join(elsewhere, "keep"), "mine")
	for name, make := range map[string]func(path string) error{
		"file": func(path string) error { return os.WriteFile(path, []byte("mine"), 0o600) },
		"link": func(path string) error { return os.Symlink(elsewhere, path) },
	} {
		folder := t.TempDir()
		if err := make(filepath.Join(folder, OutName)); err != nil {
			t.Fatal(err)
		}
		if err := writeSample(disk{}, folder, "new"); err == nil || !strings.Contains(err.Error(), "move it away") {
			t.Errorf("%s: error %v", name, err)
		}
	}
	if b, err := os.ReadFile(filepath.Join(elsewhere, "keep")); err != nil || string(b) != "mine" {
		t.Errorf("what the link leads to: %q, %v", b, err)
	}
}

// The environment that makes this test program a run to be killed, see child.
const (
	childFolder = "MOULDWRIGHT_TEST_FOLDER"
	childKind   = "MOULDWRIGHT_TEST_KIND"
)

// child writes results without end: samples, "a" and "b" in turn, or whole runs.
func child(folder, kind string) {
	fmt.Println("ready")
	for i := 0; ; i++ {
		var err error
		if kind == "run" {
			_, err = Run(ctx, folder, RunOptions{view: quick})
		} else if unlock, e := lock(folder); e != nil {
			err = e
		} else {
			err = writeSample(disk{}, folder, string("ab"[i%2]))
			unlock()
		}
		if err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
	}
}

// killed starts a child, kills it a while after it is ready, and says what it printed besides.
func killed(t *testing.T, folder, kind string, after time.Duration) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childFolder+"="+folder, childKind+"="+kind)
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	out := bufio.NewReader(pipe)
	if line, err := out.ReadString('\n'); err != nil || line != "ready\n" {
		t.Errorf("the child says %q, %v", line, err)
	}
	time.Sleep(after)
	if err := cmd.Process.Kill(); err != nil {
		t.Error(err)
	}
	if more, _ := io.ReadAll(out); len(more) > 0 {
		t.Errorf("the child failed by itself: %s", more)
	}
	_ = cmd.Wait() // killed, as meant
}

// Killed at any moment, out is one whole run, the old or the new; nobody need tidy up before the next.
func TestKilledWhileWriting(t *testing.T) {
	whole := map[string]bool{sampleTree(t, "a"): true, sampleTree(t, "b"): true}
	folder := t.TempDir()
	if err := writeSample(disk{}, folder, "a"); err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 2))
	caught := 0
	for range 40 {
		killed(t, folder, "sample", time.Duration(random.IntN(12_000))*time.Microsecond)
		if !whole[tree(t, filepath.Join(folder, OutName))] {
			t.Fatalf("out is neither the old nor the new:\n%s", tree(t, filepath.Join(folder, OutName)))
		}
		if len(leftovers(t, folder)) > 0 {
			caught++
		}
	}
	if caught == 0 {
		t.Error("none of 40 kills came while something was being written: the test shows nothing")
	}
	if err := writeSample(disk{}, folder, "b"); err != nil || len(leftovers(t, folder)) > 0 || tree(t, filepath.Join(folder, OutName)) != sampleTree(t, "b") {
		t.Errorf("the run after: %v, left %v", err, leftovers(t, folder))
	}
}

// The same with whole runs of a real part.
func TestKilledRun(t *testing.T) {
	folder := newJob(t, block(24, 20, 10), "")
	if _, err := run(folder); err != nil {
		t.Fatal(err)
	}
	whole := tree(t, filepath.Join(folder, OutName))
	random := rand.New(rand.NewPCG(3, 4))
	for range 2 {
		killed(t, folder, "run", time.Duration(random.IntN(1500))*time.Millisecond)
		if now := tree(t, filepath.Join(folder, OutName)); now != whole {
			t.Fatalf("out has changed:\n%s", now)
		}
	}
	if _, err := run(folder); err != nil || tree(t, filepath.Join(folder, OutName)) != whole || len(leftovers(t, folder)) > 0 {
		t.Errorf("the run after: %v, left %v", err, leftovers(t, folder))
	}
}
