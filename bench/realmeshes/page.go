package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"mouldwright/bench/corpus"
)

// row is a specimen with all that was found out about it.
type row struct {
	corpus.Specimen
	measures
	Outcome
}

const pageHead = `# Real meshes

Meshes that nobody here wrote, taken through mouldwright. Made by

    go run ./bench/realmeshes -o docs/realmeshes.md

from the Debian package assimp-testmodels and the npm packages in bench/realmeshes/package.json.
"read" marks files read by mouldwright's own readers, "by assimp" those that the assimp command
turned into STL first, "npm" meshes held or made by an npm package. Each object is welded exactly and
split into shells; closed shells with positive volume are kept, at most %d a file, one of each form.
Factor is mm per unit of the file: 1 where the longest side is 20 to 60 units, else what brings it to
about 40 mm. Facets and volume are those of the mesh as binary STL holds it, by us and by admesh.

`

// writePage writes the whole page.
func writePage(w io.Writer, rows []row, tallies []corpus.Tally) {
	fmt.Fprintf(w, pageHead, corpus.ShellsPerSource)
	writeSummary(w, rows)
	line(w, "Mesh", "Source", "Factor", "Facets", "admesh", "Volume, mm³", "admesh, mm³", "Difference", "Direction", "Verdict", "Reason")
	line(w, "---", "---", "---:", "---:", "---:", "---:", "---:", "---:", "---", "---", "---")
	for _, r := range rows {
		line(w, r.Name, r.By.String(), fmt.Sprintf("%g", r.Factor), fmt.Sprint(r.Facets), fmt.Sprint(r.AdmeshFacets),
			fmt.Sprintf("%.2f", r.VolumeMM3), fmt.Sprintf("%.2f", r.AdmeshMM3), fmt.Sprintf("%.1e", math.Abs(r.difference())),
			r.Direction, r.Verdict, r.Reason)
	}
	fmt.Fprint(w, "\n## What was left out\n\nShells of each file that are not above.\n\n")
	line(w, "File", "Shells", "Open or not manifold", "Inside out", "Same form as one above", "Over the number a file may fill")
	line(w, "---", "---", "---", "---", "---", "---")
	for _, t := range tallies {
		if t.Open+t.InsideOut+t.Same+t.Over > 0 {
			line(w, t.Source.Path, fmt.Sprint(t.Shells), fmt.Sprint(t.Open), fmt.Sprint(t.InsideOut), fmt.Sprint(t.Same), fmt.Sprint(t.Over))
		}
	}
}

// writeSummary counts what the table shows.
func writeSummary(w io.Writer, rows []row) {
	worst, proven := 0.0, 0
	for _, r := range rows {
		worst = max(worst, math.Abs(r.difference()))
		if r.Verdict == provenMould {
			proven++
		}
	}
	fmt.Fprintf(w, "%d meshes. Volumes differ from admesh's by at most %.1e of the volume. %d end in a\nproven mould of two rigid halves, %d in a reason why not. \"Clamped\" moulds are higher than the\nlongest standard screw of the default thread and go without bolts; \"3 mm sprue\" ones have no room for\nthe default sprue of 5 mm.\n\n",
		len(rows), worst, proven, len(rows)-proven)
}

// line writes a row of a Markdown table.
func line(w io.Writer, cells ...string) {
	for i, c := range cells {
		cells[i] = strings.ReplaceAll(strings.Join(strings.Fields(c), " "), "|", "\\|")
	}
	fmt.Fprintf(w, "| %s |\n", strings.Join(cells, " | "))
}
