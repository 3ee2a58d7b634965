package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"sync"
	"time"
)

type settings struct {
	clients int
	lasts   time.Duration
	mostMB  float64
	profile string
}

func main() {
	var set settings
	flag.IntVar(&set.clients, "clients", 200, "clients at once, 1 to 60000")
	flag.DurationVar(&set.lasts, "for", time.Minute, "how long they ask")
	flag.Float64Var(&set.mostMB, "most-mb", 1500, "more memory of the server than this, MB, is an error")
	serving := flag.String("serve", "", "a folder of jobs: be the server (used by the program itself)")
	flag.StringVar(&set.profile, "profile", "", "write a CPU profile of the server to this file")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	err := error(nil)
	switch {
	case *serving != "":
		err = serve(ctx, *serving, set.profile)
	case set.clients < 1 || set.clients > 60000 || set.lasts <= 0:
		err = errors.New("ask for 1 to 60000 clients and some time")
	default:
		err = run(ctx, set, os.Stdout)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "load:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, set settings, out io.Writer) (err error) {
	dir, err := os.MkdirTemp("", "mouldwright-load-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	child, err := start(ctx, dir, set.profile)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, child.end()) }()
	fmt.Fprintf(out, "machine: %s\nputting jobs, records and a batch there\n", machine())
	shop, err := furnish(ctx, child.url)
	if err != nil {
		return fmt.Errorf("furnish the folder: %w", err)
	}
	fmt.Fprintf(out, "%d clients for %v; load of the machine before: %s\n", set.clients, set.lasts, loadAverage())
	t := newTally()
	began := time.Now()
	people := ask(ctx, shop, set, t)
	t.lasted = time.Since(began)
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, p := range people {
		p.checkRuns(ctx, t)
	}
	memoryMB, known := child.peakMB()
	t.print(out)
	fmt.Fprintf(out, "load of the machine after: %s\n", loadAverage())
	switch {
	case !known:
		fmt.Fprintln(out, "the server's memory is not known on this system")
	case memoryMB > set.mostMB:
		t.fault("memory", fmt.Errorf("the server took %.0f MB, more than %.0f MB", memoryMB, set.mostMB))
		fallthrough
	default:
		fmt.Fprintf(out, "largest memory of the server: %.0f MB\n", memoryMB)
	}
	return t.err()
}

// ask lets the clients ask until the time is over, and waits for their last answers.
func ask(ctx context.Context, shop *shop, set settings, t *tally) []*person {
	end := time.Now().Add(set.lasts)
	people := make([]*person, set.clients)
	var all sync.WaitGroup
	for i := range people {
		people[i] = newPerson(i, shop)
		all.Go(func() {
			for time.Now().Before(end) && ctx.Err() == nil {
				people[i].next(ctx, t)
			}
		})
	}
	all.Wait()
	return people
}
