package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// outcome is what one command line did.
type outcome struct {
	code     int
	out, err string
}

func run(t testing.TB, env Env, args ...string) outcome {
	t.Helper()
	return runCtx(t, context.Background(), env, args...)
}

func runCtx(t testing.TB, ctx context.Context, env Env, args ...string) outcome {
	t.Helper()
	var out, errs bytes.Buffer
	if env.Out == nil {
		env.Out = &out
	}
	env.Err = &errs
	env.Version = "test"
	code := Main(ctx, args, env)
	return outcome{code, out.String(), errs.String()}
}

// fields decodes a --json output, which must be one object and nothing else.
func fields(t testing.TB, o outcome) map[string]any {
	t.Helper()
	dec := json.NewDecoder(strings.NewReader(o.out))
	var v map[string]any
	if err := dec.Decode(&v); err != nil {
		t.Fatalf("not a JSON object: %v\n%s", err, o.out)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		t.Fatalf("more than one JSON value:\n%s", o.out)
	}
	return v
}

func contains(t testing.TB, where, text string, wants ...string) {
	t.Helper()
	for _, w := range wants {
		if !strings.Contains(text, w) {
			t.Errorf("%s lacks %q:\n%s", where, w, text)
		}
	}
}

func TestHelpAndVersion(t *testing.T) {
	for _, args := range [][]string{nil, {"--help"}, {"-h"}} {
		o := run(t, Env{}, args...)
		if o.code != ExitOK {
			t.Errorf("%v: exit %d", args, o.code)
		}
		contains(t, "help", o.out, "inspect", "material weigh", "--json", "run")
	}
	if o := run(t, Env{}, "inspect", "--help"); o.code != ExitOK || !strings.Contains(o.out, "--direction") {
		t.Errorf("inspect --help: %+v", o)
	}
	if o := run(t, Env{}, "version"); o.code != ExitOK || !strings.HasPrefix(o.out, "mouldwright test (sources ") {
		t.Errorf("version: %+v", o)
	}
	if v := fields(t, run(t, Env{}, "version", "--json")); v["version"] != "test" {
		t.Errorf("version --json: %v", v)
	}
}

func TestWrongUsageIsExit2WithTheWayOut(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"frobnicate"}, "frobnicate"},
		{[]string{"--bogus", "version"}, "--bogus"},
		{[]string{"inspect"}, "<part>"},
		{[]string{"material", "weigh", "pu-flexible"}, "<ml>"},
		{[]string{"material", "weigh", "pu-flexible", "many"}, "many"},
		{[]string{"--progress=dance", "version"}, "progress"},
	} {
		o := run(t, Env{}, c.args...)
		if o.code != ExitInput || o.out != "" {
			t.Errorf("%v: exit %d, output %q", c.args, o.code, o.out)
		}
		contains(t, fmt.Sprint(c.args), o.err, "mouldwright: ", c.want, "--help")
		e, ok := fields(t, run(t, Env{}, append(c.args, "--json")...))["error"].(map[string]any)
		if !ok || e["kind"] != "input" || e["exit"] != 2.0 {
			t.Errorf("%v --json: error %v", c.args, e)
		}
	}
}

func TestMaterialCommands(t *testing.T) {
	o := run(t, Env{}, "material", "list")
	if o.code != ExitOK {
		t.Fatalf("%+v", o)
	}
	contains(t, "list", o.out, "pu-flexible", "silicone-tin", "typical", "g/mL", "°C", "Next:")
	if q := run(t, Env{}, "-q", "material", "list"); strings.Contains(q.out, "Next:") {
		t.Error("--quiet prints a hint")
	}
	list, ok := fields(t, run(t, Env{}, "material", "list", "--json"))["materials"].([]any)
	if !ok || len(list) < 5 {
		t.Errorf("list --json: %v", list)
	}

	o = run(t, Env{}, "material", "show", "epoxy-2-1")
	contains(t, "show", o.out, "by volume", "2 parts", "1.070 g/mL", "Shore D 80", "safety data sheet", "40 min at 23 °C")
	v := fields(t, run(t, Env{}, "--json", "material", "show", "epoxy-2-1"))
	if v["id"] != "epoxy-2-1" || v["ratio_by"] != "volume" || v["mould_scale"] == nil {
		t.Errorf("show --json: %v", v)
	}
	o = run(t, Env{}, "material", "show", "nothing")
	if o.code != ExitInput {
		t.Errorf("unknown material: exit %d", o.code)
	}
	contains(t, "unknown material", o.err, `"nothing"`, "pu-flexible")
}

// 2:1 by volume, 1.12 and 0.97 g/mL, 90 mL: 67.2 g and 29.1 g.
func TestMaterialWeigh(t *testing.T) {
	args := []string{"material", "weigh", "epoxy-2-1", "90", "--overfill", "0", "--pigment", "blue=2@B (hardener)", "--pigment", "white=1"}
	o := run(t, Env{}, args...)
	if o.code != ExitOK {
		t.Fatalf("%+v", o)
	}
	contains(t, "weigh", o.out, "67.2 g", "29.1 g", "(60.0 mL)", "blue", "white", "rounding up", "Mind", "Cautions")
	v := fields(t, run(t, Env{}, append(args, "--json")...))
	if v["mix_g"] != 96.3 {
		t.Errorf("mix_g = %v, want 96.3", v["mix_g"])
	}
	o = run(t, Env{}, "material", "weigh", "silicone-tin", "50", "--step", "5")
	if o.code != ExitInput {
		t.Errorf("coarse scale: exit %d", o.code)
	}
	contains(t, "coarse scale", o.err, "ratio is off", "use a scale that reads", "or mix more")
	for _, bad := range [][]string{{"--pigment", "blue"}, {"--pigment", "blue=x"}, {"--pigment", "blue=1@Z"}, {"--step=-1"}, {"--cup-g", "1", "--cup-pct", "1"}} {
		if o := run(t, Env{}, append([]string{"material", "weigh", "epoxy-2-1", "90"}, bad...)...); o.code != ExitInput || o.err == "" {
			t.Errorf("%v: %+v", bad, o)
		}
	}
}

const ownMaterial = `[[material]]
id = "mine"
name = "Mine"
family = "other"
ratio_by = "mass"
ratio_tolerance_pct = 3
mixed_density_g_per_ml = 1.2

[[material.component]]
name = "A"
parts = 1

[[material.component]]
name = "B"
parts = 1
`

func TestOwnMaterialFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "own.toml")
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(ownMaterial)
	o := run(t, Env{}, "material", "check", path)
	if o.code != ExitOK {
		t.Fatalf("%+v", o)
	}
	contains(t, "check", o.out, "sound", "mine", "--library")
	o = run(t, Env{}, "material", "weigh", "--library", path, "mine", "100", "--overfill", "0")
	contains(t, "weigh", o.out, "60 g", "120 g") // 100 mL at 1.2 g/mL
	contains(t, "show", run(t, Env{}, "material", "show", "--library", path, "mine").out, "as entered", "data sheet", "not known")
	write(strings.Replace(ownMaterial, "parts = 1", "parts = -1", 1))
	for _, args := range [][]string{{"material", "check", path}, {"material", "list", "--library", path}} {
		o := run(t, Env{}, args...)
		if o.code != ExitInput {
			t.Errorf("%v: exit %d", args, o.code)
		}
		contains(t, "bad file", o.err, path+":11:1:", "parts is -1")
	}
	if o := run(t, Env{}, "material", "check", path+".none"); o.code != ExitInput || !strings.Contains(o.err, "own.toml.none") {
		t.Errorf("missing file: %+v", o)
	}
}

// refused stands for a part that a job cannot mould as asked.
type refused struct{}

func (refused) Error() string { return "two rigid halves lock on facet 12" }
func (refused) Refused() bool { return true }

// scripted is a Jobs whose answers a test sets.
type scripted struct {
	made JobOptions
	err  error
}

type scriptedReport struct {
	Name string `json:"name"`
}

func (r scriptedReport) Print(w io.Writer) error {
	_, err := fmt.Fprintln(w, "mould of", r.Name)
	return err
}

func (s *scripted) Create(folder, part string, opt JobOptions) error {
	s.made = opt
	return s.err
}

func (s *scripted) Run(ctx context.Context, folder string, progress func(string, float64)) (JobReport, error) {
	for i := range 101 {
		progress("cutting", float64(i)/100)
	}
	if ctx.Err() != nil {
		return nil, fmt.Errorf("run: %w", ctx.Err())
	}
	if s.err != nil && !isRefusal(s.err) {
		return nil, s.err
	}
	return scriptedReport{folder}, s.err
}

func (s *scripted) Load(folder string) (JobReport, error) { return scriptedReport{folder}, s.err }

func TestJobCommands(t *testing.T) {
	jobs := &scripted{}
	o := run(t, Env{Jobs: jobs}, "new", "ring", "ring.stl", "--unit", "inch", "--material", "pu-rigid", "--show-colour", "#d04020", "--show-colour", "#00ff00")
	if o.code != ExitOK || jobs.made.Unit != "inch" || jobs.made.Material != "pu-rigid" || len(jobs.made.ShowColours) != 2 {
		t.Errorf("new: %+v, %+v", o, jobs.made)
	}
	contains(t, "new", o.out, "mouldwright run ring")
	if o := run(t, Env{Jobs: jobs}, "new", "ring", "ring.stl", "--unit", "furlong"); o.code != ExitInput || !strings.Contains(o.err, "inch") {
		t.Errorf("bad unit: %+v", o)
	}
	for _, cmd := range []string{"run", "show"} {
		if o := run(t, Env{Jobs: jobs}, cmd, "ring"); o.code != ExitOK || !strings.Contains(o.out, "mould of ring") || o.err != "" {
			t.Errorf("%s: %+v", cmd, o)
		}
		if v := fields(t, run(t, Env{Jobs: jobs}, cmd, "ring", "--json")); v["name"] != "ring" {
			t.Errorf("%s --json: %v", cmd, v)
		}
	}
}

func TestErrorsBecomeExitCodes(t *testing.T) {
	for _, c := range []struct {
		err  error
		code int
		kind string
	}{
		{errors.New("job.toml:3:1: what is this"), ExitInput, "input"},
		{&internalError{errors.New("boom")}, ExitInternal, "internal"},
	} {
		o := run(t, Env{Jobs: &scripted{err: c.err}}, "run", "ring", "--json")
		e, ok := fields(t, o)["error"].(map[string]any)
		if !ok || o.code != c.code || e["kind"] != c.kind || e["exit"] != float64(c.code) {
			t.Errorf("%v: exit %d, %v", c.err, o.code, e)
		}
		contains(t, "standard error", o.err, c.err.Error())
	}
	refusing := Env{Jobs: &scripted{err: fmt.Errorf("ring: %w", refused{})}}
	if o := run(t, refusing, "run", "ring"); o.code != ExitRefused || !strings.Contains(o.out, "mould of ring") || !strings.Contains(o.err, "refused") {
		t.Errorf("a refusal: %+v", o)
	}
	if o := run(t, refusing, "run", "ring", "--json"); o.code != ExitRefused || fields(t, o)["name"] != "ring" {
		t.Errorf("a refusal as JSON: %+v", o)
	}
	o := run(t, Env{Jobs: &scripted{err: refused{}}}, "new", "ring", "ring.stl", "--json")
	if e, ok := fields(t, o)["error"].(map[string]any); !ok || o.code != ExitRefused || e["kind"] != "refused" {
		t.Errorf("a refusal without a report: %+v", o)
	}
	if o := run(t, Env{}, "run", "ring"); o.code != ExitInternal {
		t.Errorf("no jobs: %+v", o)
	}
	if o := run(t, Env{Jobs: nilMap{}}, "show", "ring"); o.code != ExitInternal || !strings.Contains(o.err, "please report") {
		t.Errorf("a panic: exit %d, %q", o.code, o.err)
	}
}

// nilMap panics when asked to load.
type nilMap struct{ Jobs }

func TestCancelledRunSaysSo(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	o := runCtx(t, ctx, Env{Jobs: &scripted{}}, "run", "ring")
	if o.code != ExitStopped || !strings.Contains(o.err, "stopped") {
		t.Errorf("%+v", o)
	}
}

func TestProgress(t *testing.T) {
	jobs := &scripted{}
	lines := run(t, Env{Jobs: jobs}, "--progress", "lines", "run", "ring")
	if n := strings.Count(lines.err, "\n"); n != 11 {
		t.Errorf("%d lines for 0 %% to 100 %% in tenths:\n%s", n, lines.err)
	}
	contains(t, "lines", lines.err, "  0 % cutting", "100 % cutting")
	if bar := run(t, Env{Jobs: jobs, ErrIsTTY: true}, "run", "ring"); !strings.Contains(bar.err, "cutting") {
		t.Errorf("no bar on a terminal: %q", bar.err)
	}
	for _, args := range [][]string{{"run", "ring"}, {"-q", "--progress", "lines", "run", "ring"}, {"--progress", "off", "run", "ring"}} {
		if o := run(t, Env{Jobs: jobs}, args...); o.err != "" {
			t.Errorf("%v: progress %q", args, o.err)
		}
	}
}

// fullDisk is an output that takes no more.
type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errors.New("no space left on device") }

func TestFullDiskIsAnError(t *testing.T) {
	for _, args := range [][]string{{"material", "list"}, {"material", "list", "--json"}, {"version"}} {
		if o := run(t, Env{Out: fullDisk{}}, args...); o.code == ExitOK || !strings.Contains(o.err, "no space left") {
			t.Errorf("%v: %+v", args, o)
		}
	}
}
