package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"time"

	"mouldwright/bench/corpus"
	"mouldwright/internal/solid"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	var from corpus.Places
	from.Flags(flag.CommandLine)
	flag.Parse()
	pool := solid.NewPool(solid.Options{})
	err := check(ctx, pool, from)
	pool.Close()
	if err != nil {
		fmt.Fprintln(os.Stderr, "stepping:", err)
		os.Exit(1)
	}
}

// check judges the whole sample and prints it.
func check(ctx context.Context, pool *solid.Pool, from corpus.Places) error {
	began := time.Now()
	c, err := corpus.Gather(ctx, from)
	if err != nil {
		return err
	}
	pairs, err := draw(ctx, pool, c, whole)
	if err != nil {
		return err
	}
	fmt.Fprintf(os.Stderr, "%d pairs made in %.0f s\n", len(pairs), time.Since(began).Seconds())
	results, err := judgeAll(ctx, pool, pairs, func(i int, r *result) {
		fmt.Fprintf(os.Stderr, "%d of %d: %s (at %.0f s)\n", i+1, len(pairs), r.words(), time.Since(began).Seconds())
	})
	if err != nil {
		return err
	}
	return report(os.Stdout, results)
}
