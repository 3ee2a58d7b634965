package web

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"mouldwright/internal/bundle"
	"mouldwright/internal/pgtest"

	"github.com/jackc/pgx/v5"
)

func TestMain(m *testing.M) {
	code := pgtest.Main(m)
	if programDir != "" {
		_ = os.RemoveAll(programDir) // temporary
	}
	if ringDir != "" {
		_ = os.RemoveAll(ringDir) // temporary
	}
	os.Exit(code)
}

var programDir string

// program is the binary, built once.
var program = sync.OnceValues(func() (string, error) {
	var err error
	if programDir, err = os.MkdirTemp("", "mouldwright-binary-"); err != nil {
		return "", err
	}
	path := filepath.Join(programDir, "mouldwright")
	out, err := exec.Command("go", "build", "-o", path, "mouldwright/cmd/mouldwright").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("build the program: %w\n%s", err, out)
	}
	return path, nil
})

// process is a running program.
type process struct {
	t      *testing.T
	cmd    *exec.Cmd
	first  string // line that it printed
	stderr *bytes.Buffer
}

// begin starts the program and waits for its first line.
func begin(t *testing.T, args ...string) *process {
	t.Helper()
	path, err := program()
	if err != nil {
		t.Fatal(err)
	}
	p := &process{t: t, cmd: exec.Command(path, args...), stderr: &bytes.Buffer{}}
	p.cmd.Dir, p.cmd.Stderr = t.TempDir(), p.stderr
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.end(syscall.SIGKILL) })
	p.first, err = bufio.NewReader(out).ReadString('\n')
	if err != nil {
		p.end(syscall.SIGKILL)
		t.Fatalf("%v: %v\n%s", args, err, p.stderr)
	}
	return p
}

// end signals the program, waits for it and gives its exit code, −1 when the signal ended it.
func (p *process) end(s syscall.Signal) int {
	if p.cmd.ProcessState == nil {
		_ = p.cmd.Process.Signal(s) // it may have ended on its own
		_ = p.cmd.Wait()            // the exit code tells
	}
	return p.cmd.ProcessState.ExitCode()
}

// serving starts a server and gives a client of it.
func serving(t *testing.T, folder string, more ...string) (*process, *client) {
	t.Helper()
	p := begin(t, append([]string{"serve", "--addr", "127.0.0.1:0", "--folder", folder, "--records", filepath.Join(t.TempDir(), "records.db")}, more...)...)
	_, rest, _ := strings.Cut(p.first, " at ")
	url, _, ok := strings.Cut(rest, "/ ")
	if !ok {
		t.Fatalf("the server says %q", p.first)
	}
	return p, &client{t: t, base: url}
}

// until asks for a task until ok.
func (c *client) until(id string, ok func(TaskState) bool) TaskState {
	c.t.Helper()
	var s TaskState
	for end := time.Now().Add(2 * time.Minute); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		c.must("GET", "/api/tasks/"+id, nil, &s)
		if ok(s) {
			return s
		}
		if s.Over() {
			break
		}
	}
	c.t.Fatalf("the task stands at %+v", s)
	return s
}

// turnedSides make a build long enough to be killed in the middle.
const turnedSides = 400

// turnedPart makes a job of a stepped cone of 30 mm.
func (c *client) turnedPart() jobView {
	c.t.Helper()
	var b bytes.Buffer
	rings := [][2]float64{{15, 0}, {14.5, 6}, {13, 7}, {12.5, 12}}
	for _, r := range rings {
		for i := range turnedSides {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / turnedSides)
			fmt.Fprintf(&b, "v %g %g %g\n", r[0]*cos, r[0]*sin, r[1])
		}
	}
	fmt.Fprintf(&b, "v 0 0 0\nv 0 0 12\n")
	top, centre := (len(rings)-1)*turnedSides, len(rings)*turnedSides+1 // OBJ counts from 1
	for i := range turnedSides {
		p, q := i+1, (i+1)%turnedSides+1
		fmt.Fprintf(&b, "f %d %d %d\nf %d %d %d\n", centre, q, p, centre+1, top+p, top+q)
		for l := 0; l < top; l += turnedSides {
			fmt.Fprintf(&b, "f %d %d %d %d\n", l+p, l+q, l+turnedSides+q, l+turnedSides+p)
		}
	}
	var up uploadView
	c.must("POST", "/api/uploads?name=turned.obj", b.Bytes(), &up)
	var j jobView
	c.must("POST", "/api/jobs", newJob{Upload: up.Upload, Name: "turned", Unit: "mm"}, &j)
	return j
}

// midBuild is when a kill hurts: the mould is being made.
func midBuild(s TaskState) bool { return s.State == Running && s.Share > 0.3 && s.Share < 0.9 }

// direct runs a copy of a job from the command line and compares what came of both.
func direct(t *testing.T, folder string) {
	t.Helper()
	path, err := program()
	if err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(t.TempDir(), "copy")
	if err := os.Mkdir(copied, 0o755); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			t.Errorf("%s was left behind", e.Name())
		}
		if e.IsDir() {
			continue
		}
		b, err := os.ReadFile(filepath.Join(folder, e.Name()))
		if err == nil {
			err = os.WriteFile(filepath.Join(copied, e.Name()), b, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if out, err := exec.Command(path, "run", "-q", copied).CombinedOutput(); err != nil {
		t.Fatalf("run: %v\n%s", err, out)
	}
	a, b := os.DirFS(filepath.Join(folder, "out")), os.DirFS(filepath.Join(copied, "out"))
	names, err := bundle.Files(b)
	if err != nil {
		t.Fatal(err)
	}
	have, err := bundle.Files(a)
	if err != nil || fmt.Sprint(have) != fmt.Sprint(names) || len(names) < 10 {
		t.Fatalf("files: %v, %v\nof a direct run: %v", have, err, names)
	}
	for _, n := range names {
		x, err1 := fs.ReadFile(a, n)
		y, err2 := fs.ReadFile(b, n)
		if err1 != nil || err2 != nil || !bytes.Equal(x, y) {
			t.Errorf("%s: %d and %d bytes that differ (%v, %v)", n, len(x), len(y), err1, err2)
		}
	}
}

// A worker is killed in the middle of a build: the other takes over, the job ends once, and its results are
// those of a direct run, byte for byte.
func TestKilledWorkersTaskIsTakenOver(t *testing.T) {
	dsn := pgtest.Database(t)
	t.Parallel()
	folder := t.TempDir()
	_, c := serving(t, folder, "--database", dsn, "--no-work")
	workers := map[string]*process{}
	for range 2 {
		p := begin(t, "worker", "--database", dsn)
		workers[fmt.Sprint(p.cmd.Process.Pid)] = p
	}
	j := c.turnedPart()

	// Judging goes over the same line; what came of it is here.
	if s := c.finish(j.ID, "judge"); s.State != Done {
		t.Fatalf("judge: %+v", s)
	}
	judged := judgedView{judgement: &judgement{}}
	c.must("GET", "/api/jobs/"+j.ID+"/judgement", nil, &judged)
	if !judged.Opens || !judged.Fresh || judged.MinDraft < 4.7 {
		t.Errorf("judgement: %+v", judged.judgement)
	}
	var part partMeta
	_, b := c.do("GET", "/api/jobs/"+j.ID+"/part.bin", nil)
	unpack(t, b, &part)
	_, b = c.do("GET", "/api/jobs/"+j.ID+"/judgement.bin", nil)
	if a := unpack(t, b, &struct{}{}); len(a["draft"]) != 2*part.Shown || bytes.Count(a["draft"], []byte{0}) == len(a["draft"]) || len(a["loop.0"]) == 0 {
		t.Error("the judgement has no facets or no line")
	}

	db, err := pgx.Connect(context.Background(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close(context.Background())
	row := func(id string) (worker string, run, lost int) {
		if err := db.QueryRow(context.Background(), "SELECT worker, run, lost FROM tasks WHERE id = $1", id).Scan(&worker, &run, &lost); err != nil {
			t.Fatal(err)
		}
		name := strings.Split(worker, "/") // host, process, and what tells apart two of one process
		return name[1], run, lost
	}
	var task TaskState
	c.must("POST", "/api/jobs/"+j.ID+"/tasks", map[string]string{"kind": "build"}, &task)
	c.until(task.ID, midBuild)
	victim, _, _ := row(task.ID)
	if workers[victim] == nil {
		t.Fatalf("%s is none of the workers", victim)
	}
	workers[victim].end(syscall.SIGKILL)
	killed := time.Now()
	if _, err := os.Stat(filepath.Join(folder, j.ID, "out")); err == nil {
		t.Error("there are results before the build has ended")
	}
	for run := 1; run < 2; _, run, _ = row(task.ID) { // between the two it waits for a moment alone
		if time.Sleep(20 * time.Millisecond); time.Since(killed) > 30*time.Second {
			t.Fatal("nobody takes the task over")
		}
	}
	t.Logf("taken over %.1f s after the kill", time.Since(killed).Seconds())
	if s := c.until(task.ID, TaskState.Over); s.State != Done || s.Share != 1 {
		t.Fatalf("%+v", s)
	}
	if heir, run, lost := row(task.ID); heir == victim || workers[heir] == nil || run != 2 || lost != 1 {
		t.Errorf("ended by %s (%s was killed), begun %d times, lost %d times", heir, victim, run, lost)
	}
	c.must("GET", "/api/jobs/"+j.ID, nil, &j)
	if !j.HasReport || j.Stale || j.Refused || j.Task.State != Done {
		t.Errorf("after it: %+v", j)
	}
	for pid, p := range workers {
		if pid == victim {
			continue
		}
		if code := p.end(syscall.SIGTERM); code != 0 || p.stderr.Len() > 0 && !strings.Contains(p.stderr.String(), "taking over") {
			t.Errorf("the worker ends with %d: %s", code, p.stderr)
		}
	}
	direct(t, filepath.Join(folder, j.ID))
}

// A worker that is asked to end gives its task back at once; a refusal comes back with its report.
func TestWorkerEndsGracefully(t *testing.T) {
	dsn := pgtest.Database(t)
	t.Parallel()
	folder := t.TempDir()
	_, c := serving(t, folder, "--database", dsn, "--no-work")
	first := begin(t, "worker", "--database", dsn)
	j := c.turnedPart()
	// Across its axis the step of the part locks.
	c.must("PATCH", "/api/jobs/"+j.ID+"/decisions", map[string]any{"set": map[string]any{"opening.direction": []float64{1, 0, 0.3}}}, &j)
	var task TaskState
	c.must("POST", "/api/jobs/"+j.ID+"/tasks", map[string]string{"kind": "build"}, &task)
	c.until(task.ID, func(s TaskState) bool { return s.State == Running })
	if code := first.end(syscall.SIGTERM); code != 0 {
		t.Errorf("the worker ends with %d: %s", code, first.stderr)
	}
	stopped := time.Now()
	c.until(task.ID, func(s TaskState) bool { return s.State == Waiting })
	if took := time.Since(stopped); took > 5*time.Second {
		t.Errorf("the task of a worker that was stopped came back after %v only: its lease ran out", took)
	}
	begin(t, "worker", "--database", dsn)
	if s := c.until(task.ID, TaskState.Over); s.State != Refused {
		t.Fatalf("%+v", s)
	}
	c.must("GET", "/api/jobs/"+j.ID, nil, &j)
	if !j.HasReport || !j.Refused {
		t.Errorf("after the refusal: %+v", j)
	}
	// A job that cannot be read is an error of the request, and leaves nothing in line.
	if err := os.Remove(filepath.Join(folder, j.ID, "turned.obj")); err != nil {
		t.Fatal(err)
	}
	if status, b := c.do("POST", "/api/jobs/"+j.ID+"/tasks", map[string]string{"kind": "build"}); status != 404 && status != 422 {
		t.Errorf("a job without its part: %d %s", status, b)
	}
}

// A server that is killed in the middle of a build ends it when it is started again.
func TestKilledServerEndsItsBuild(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	p, c := serving(t, folder)
	j := c.turnedPart()
	var task TaskState
	c.must("POST", "/api/jobs/"+j.ID+"/tasks", map[string]string{"kind": "build"}, &task)
	c.until(task.ID, midBuild)
	p.end(syscall.SIGKILL)
	killed := time.Now()
	_, c = serving(t, folder)
	c.until(task.ID, func(s TaskState) bool { return s.State == Waiting || s.Share < 0.3 }) // it begins anew
	t.Logf("taken up again %.1f s after the kill", time.Since(killed).Seconds())
	if s := c.until(task.ID, TaskState.Over); s.State != Done {
		t.Fatalf("%+v", s)
	}
	direct(t, filepath.Join(folder, j.ID))
}
