package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"time"

	"mouldwright/internal/solid"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	g := &gatherer{}
	flag.StringVar(&g.Models, "models", modelsDir, "folder of the Debian package assimp-testmodels")
	flag.StringVar(&g.Bench, "bench", "bench/realmeshes", "folder of export.mjs and its node_modules")
	out := flag.String("o", "docs/realmeshes.md", "file to write the table to")
	tilt := flag.Bool("tilt", false, "search the tilt of every proven mould instead, and print what comes of it")
	flag.Parse()
	pool := solid.NewPool(solid.Options{})
	do := func() error { return writeTable(ctx, g, newPipeline(pool), *out) }
	if *tilt {
		do = func() error { return tilts(ctx, g, newPipeline(pool), os.Stdout) }
	}
	if err := do(); err != nil {
		fmt.Fprintln(os.Stderr, "realmeshes:", err)
		pool.Close()
		os.Exit(1)
	}
	pool.Close()
}

// modelsDir is where Debian puts the test models.
const modelsDir = "/usr/share/assimp/models"

// writeTable gathers the corpus, measures and runs every specimen, and writes the page at the end,
// so that a failure leaves the old page as it was.
func writeTable(ctx context.Context, g *gatherer, run job, path string) error {
	if need := g.missing(); need != "" {
		return errors.New("the meshes or programs are not installed; run: " + need)
	}
	dir, err := os.MkdirTemp("", "realmeshes")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	g.Temp = dir
	if err := g.gather(ctx); err != nil {
		return err
	}
	began := time.Now()
	var rows []row
	for i, s := range g.specimens {
		fmt.Fprintf(os.Stderr, "%d of %d: %s, %d facets\n", i+1, len(g.specimens), s.Name, len(s.Mesh.Tris))
		r := row{specimen: s}
		if r.measures, err = compare(ctx, s.Mesh, dir); err != nil {
			return fmt.Errorf("%s: %w", s.Name, err)
		}
		if r.Outcome, err = run(ctx, s.Mesh); err != nil {
			return fmt.Errorf("%s: %w", s.Name, err)
		}
		fmt.Fprintf(os.Stderr, "  %s %s (at %.0f s)\n", r.Verdict, r.Reason, time.Since(began).Seconds())
		rows = append(rows, r)
	}
	var page bytes.Buffer
	writePage(&page, rows, g.tallies)
	return os.WriteFile(path, page.Bytes(), 0o644)
}
