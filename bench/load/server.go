package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"runtime/pprof"
	"strconv"
	"strings"
	"time"

	"mouldwright/internal/web"
)

// serve is the program as the server, in a process of its own so that its memory can be told from the
// clients'.
func serve(ctx context.Context, folder, profile string) error {
	if profile != "" {
		f, err := os.Create(profile)
		if err != nil {
			return err
		}
		defer f.Close()
		if err := pprof.StartCPUProfile(f); err != nil {
			return err
		}
		defer pprof.StopCPUProfile()
	}
	return web.Serve(ctx, web.Options{Folder: folder, Addr: "127.0.0.1:0", Version: "load"}, func(url string) { fmt.Println(url) })
}

type child struct {
	cmd *exec.Cmd
	url string
}

// endWithin is how long the server may take to stop.
const endWithin = 20 * time.Second

func start(ctx context.Context, folder, profile string) (*child, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	c := &child{cmd: exec.CommandContext(ctx, self, "-serve", folder, "-profile", profile)}
	c.cmd.Cancel = func() error { return c.cmd.Process.Signal(os.Interrupt) }
	c.cmd.WaitDelay = endWithin
	c.cmd.Stderr = os.Stderr
	out, err := c.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := c.cmd.Start(); err != nil {
		return nil, fmt.Errorf("start the server: %w", err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		return nil, errors.Join(fmt.Errorf("the server does not say where it listens: %w", err), c.end())
	}
	c.url = strings.TrimSuffix(strings.TrimSpace(line), "/")
	return c, nil
}

func (c *child) end() error {
	if err := c.cmd.Process.Signal(os.Interrupt); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	late := time.AfterFunc(endWithin, func() { _ = c.cmd.Process.Kill() }) // Wait says so
	defer late.Stop()
	if err := c.cmd.Wait(); err != nil {
		return fmt.Errorf("end the server: %w", err)
	}
	return nil
}

// peakMB is the most memory that the server held so far (VmHWM of proc(5)).
func (c *child) peakMB() (float64, bool) {
	kb, ok := field(fmt.Sprintf("/proc/%d/status", c.cmd.Process.Pid), "VmHWM:")
	n, err := strconv.ParseFloat(strings.TrimSuffix(kb, " kB"), 64)
	return n / 1024, ok && err == nil
}

// field is what follows a name at the start of a line of a file.
func field(path, name string) (string, bool) {
	b, err := os.ReadFile(path)
	if err != nil {
		return "", false
	}
	for line := range strings.Lines(string(b)) {
		if v, ok := strings.CutPrefix(line, name); ok {
			return strings.TrimSpace(strings.TrimLeft(v, "\t :")), true
		}
	}
	return "", false
}

func machine() string {
	model, ok := field("/proc/cpuinfo", "model name")
	if !ok {
		model = runtime.GOARCH
	}
	return fmt.Sprintf("%s, %d processors for server and clients, %s", model, runtime.NumCPU(), runtime.Version())
}

func loadAverage() string {
	b, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "not known"
	}
	return strings.Join(strings.Fields(string(b))[:3], " ")
}
