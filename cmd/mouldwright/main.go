// Command mouldwright turns a finished 3D part into a mould to print and pour.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"golang.org/x/term"

	"mouldwright/internal/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
	code := cli.Main(ctx, os.Args[1:], cli.Env{
		Out: os.Stdout, Err: os.Stderr, ErrIsTTY: term.IsTerminal(int(os.Stderr.Fd())), Version: version(), Jobs: cli.JobFolders{},
	})
	stop()
	os.Exit(code)
}

// version is the module version that the build recorded, or the revision it was built from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	if v := info.Main.Version; v != "" {
		return v
	}
	return "unknown"
}
