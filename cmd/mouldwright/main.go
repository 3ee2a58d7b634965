// Command mouldwright turns a finished 3D part into a mould to print and pour.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"golang.org/x/term"

	"mouldwright/internal/buildinfo"
	"mouldwright/internal/cli"
	"mouldwright/internal/tempdir"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
	code := cli.Main(ctx, os.Args[1:], cli.Env{
		Out: os.Stdout, Err: os.Stderr, ErrIsTTY: term.IsTerminal(int(os.Stderr.Fd())), Version: buildinfo.Version(), Jobs: cli.JobFolders{},
	})
	stop()
	_ = tempdir.Close() // what stays is cleared at the next start
	os.Exit(code)
}
