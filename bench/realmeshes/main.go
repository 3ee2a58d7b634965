package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"time"

	"mouldwright/bench/corpus"
	"mouldwright/internal/solid"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	var from corpus.Places
	from.Flags(flag.CommandLine)
	out := flag.String("o", "docs/realmeshes.md", "file to write the table to")
	tilt := flag.Bool("tilt", false, "search the tilt of every proven mould instead, and print what comes of it")
	only := flag.String("only", "", "take only meshes whose name holds this, and print the page instead of writing it")
	flag.Parse()
	pool := solid.NewPool(solid.Options{})
	err := onCorpus(ctx, from, func(c *corpus.Corpus) error {
		if *tilt {
			return tilts(ctx, c, newPipeline(pool), os.Stdout)
		}
		return writeTable(ctx, c, pool, *out, *only)
	})
	pool.Close()
	if err != nil {
		fmt.Fprintln(os.Stderr, "realmeshes:", err)
		os.Exit(1)
	}
}

// onCorpus gathers the meshes, once all that is needed is known to be installed, for do.
func onCorpus(ctx context.Context, from corpus.Places, do func(*corpus.Corpus) error) error {
	if err := from.Check(admesh); err != nil {
		return err
	}
	c, err := corpus.Gather(ctx, from)
	if err != nil {
		return err
	}
	return do(c)
}

// admesh is what the meshes are measured with a second time.
var admesh = corpus.Need{Program: "admesh", Package: "admesh"}

// writeTable measures and runs every specimen, and writes the page at the end, so that a failure leaves
// the old page as it was.
func writeTable(ctx context.Context, c *corpus.Corpus, pool *solid.Pool, path, only string) error {
	dir, err := os.MkdirTemp("", "realmeshes")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	run, began := newPipeline(pool), time.Now()
	var rows []row
	for i, s := range c.Specimens {
		if !strings.Contains(s.Name, only) {
			continue
		}
		fmt.Fprintf(os.Stderr, "%d of %d: %s, %d facets\n", i+1, len(c.Specimens), s.Name, len(s.Mesh.Tris))
		r := row{Specimen: s}
		if r.measures, err = compare(ctx, s.Mesh, dir); err != nil {
			return fmt.Errorf("%s: %w", s.Name, err)
		}
		if r.Outcome, err = run(ctx, s.Mesh); err != nil {
			return fmt.Errorf("%s: %w", s.Name, err)
		}
		if r.Verdict == refused && !r.Unusable {
			if r.Others, err = otherWays(ctx, pool, s.Mesh); err != nil {
				return fmt.Errorf("%s: %w", s.Name, err)
			}
			fmt.Fprintf(os.Stderr, "  other ways: %q\n", *r.Others)
		}
		fmt.Fprintf(os.Stderr, "  %s %s (at %.0f s)\n", r.Verdict, r.Reason, time.Since(began).Seconds())
		rows = append(rows, r)
	}
	var page bytes.Buffer
	writePage(&page, rows, c.Tallies)
	if only != "" {
		_, err := os.Stdout.Write(page.Bytes())
		return err
	}
	return os.WriteFile(path, page.Bytes(), 0o644)
}
