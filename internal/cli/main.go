package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"strconv"
	"strings"

	"github.com/alecthomas/kong"

	"mouldwright/internal/membudget"
)

// Exit codes. They are part of the interface: scripts rely on them.
const (
	ExitOK       = 0   // done
	ExitRefused  = 1   // the part cannot be moulded as asked; the output says why
	ExitInput    = 2   // a wrong argument, a file that cannot be read or makes no sense
	ExitInternal = 3   // a fault of the program
	ExitStopped  = 130 // stopped by Ctrl-C, as shells number it
)

// Env is what a command line runs in.
type Env struct {
	Out, Err io.Writer
	ErrIsTTY bool // whether a progress bar on Err makes sense
	Jobs     Jobs // nil leaves out what needs jobs
	Version  string
}

// root is the whole command line.
type root struct {
	JSON     bool   `name:"json" help:"Print the result as JSON (fields: docs/cli.md)."`
	Quiet    bool   `short:"q" help:"Print the result and errors alone: no progress, no hints."`
	Memory   string `placeholder:"SIZE" env:"MOULDWRIGHT_MEMORY" help:"The most memory to take, as in 6G or 800M; left out: two thirds of the machine's."`
	Progress string `enum:"auto,bar,lines,off" default:"auto" help:"How to show progress on standard error: auto (a bar on a terminal, else off), bar, lines, off."`

	Inspect  inspectCmd  `cmd:"" help:"Look a part over: is its surface sound, and which way could a mould open?"`
	New      newCmd      `cmd:"" help:"Make a job folder for a part."`
	Compare  compareCmd  `cmd:"" help:"Compare the ways to mould a job's part: which open, at what cost, and why."`
	Run      runCmd      `cmd:"" help:"Build the mould of a job, prove that it opens, and write its files."`
	Show     showCmd     `cmd:"" help:"Show the results of a job's last run."`
	Lid      lidCmd      `cmd:"" help:"Close a job's mould over a lower half that was poured first: edge, angle, trapped air, gutter."`
	Serve    serveCmd    `cmd:"" help:"Serve the web app and the HTTP API for a folder of jobs."`
	Worker   workerCmd   `cmd:"" help:"Do the long work of a web app on another machine."`
	Batch    batchCmd    `cmd:"" help:"Plan the casting of a batch on one bench."`
	Material materialCmd `cmd:"" help:"List, show and check materials, and work out what to weigh."`
	Record   recordCmd   `cmd:"" help:"Keep what happened at the bench: moulds, lots, mixes, sign-offs, castings; ask, export, back up."`
	Sheet    sheetCmd    `cmd:"" help:"Print the shop sheet of a job: every step at the bench, as a PDF."`
	Licences licencesCmd `cmd:"" help:"Show the licences of all that is in this program, with their texts."`
	Version  versionCmd  `cmd:"" help:"Show the version."`
}

const about = "Turns a finished 3D part into a mould you can print and pour: checked, proven to open, with the amounts to weigh."

// Main runs one command line and returns its exit code. A cancelled ctx stops long work.
func Main(ctx context.Context, args []string, env Env) (code int) {
	var r root
	s := &session{ctx: ctx, env: env}
	defer func() {
		if p := recover(); p != nil {
			code = s.fail(&internalError{fmt.Errorf("%v\n%s", p, debug.Stack())})
		}
	}()
	helped := false
	parser, err := kong.New(&r, kong.Name("mouldwright"), kong.Description(about), kong.Writers(env.Out, env.Err),
		kong.Exit(func(int) { helped = true }), kong.ConfigureHelp(kong.HelpOptions{Compact: true}))
	if err != nil {
		return s.fail(&internalError{err})
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	line, err := parser.Parse(args)
	if helped {
		return ExitOK
	}
	s.json, s.quiet, s.progressKind = r.JSON, r.Quiet, r.Progress
	if err != nil {
		s.json = s.json || wantsJSON(args)
		return s.fail(fmt.Errorf("%w; see: mouldwright --help", err))
	}
	if err := setMemory(r.Memory); err != nil {
		return s.fail(err)
	}
	watched, end := membudget.Watch(ctx)
	defer end()
	s.ctx, s.unwatched = watched, ctx
	if err := membudget.Cause(watched, line.Run(s)); err != nil {
		return s.fail(err)
	}
	return ExitOK
}

// setMemory gives the process its budget: a number of bytes, or of K, M, G.
func setMemory(size string) error {
	if size == "" {
		return membudget.Set(0)
	}
	number, unit := size, uint64(1)
	for i, suffix := range []string{"K", "M", "G"} {
		if n, ok := strings.CutSuffix(strings.ToUpper(size), suffix); ok {
			number, unit = n, uint64(1)<<(10*(i+1))
		}
	}
	n, err := strconv.ParseFloat(number, 64)
	if err != nil || !(n > 0 && n < 1e15) {
		return fmt.Errorf("--memory %q is no amount of memory: give it as in 6G or 800M", size)
	}
	if err := membudget.Set(uint64(n * float64(unit))); err != nil {
		return fmt.Errorf("--memory: %w", err)
	}
	return nil
}

// wantsJSON finds --json on a line that did not parse.
func wantsJSON(args []string) bool {
	for _, a := range args {
		if a == "--json" {
			return true
		}
	}
	return false
}

// internalError marks a fault of the program.
type internalError struct{ err error }

func (e *internalError) Error() string {
	return "internal fault, please report it with the command and its files: " + e.err.Error()
}
func (e *internalError) Unwrap() error { return e.err }

// refusal is the error of a part that cannot be moulded as asked.
type refusal interface {
	error
	Refused() bool
}

func isRefusal(err error) bool {
	var no refusal
	return errors.As(err, &no) && no.Refused()
}

// kindOf sorts an error into the exit codes and their words.
func kindOf(err error) (code int, kind string) {
	var in *internalError
	switch {
	case errors.As(err, &in):
		return ExitInternal, "internal"
	case isRefusal(err):
		return ExitRefused, "refused"
	case errors.Is(err, context.Canceled):
		return ExitStopped, "stopped"
	}
	return ExitInput, "input"
}
